package main

import (
	"context"
	"slices"
	"strings"
	"sync"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/onewire"
	"nestmon/sensors/screen"
	"nestmon/thresholds"
)

// survey is everything that hangs on the buses and everything that should.
type survey struct {
	Daemon  bool         `json:"daemon"` // a running daemon told what it knows
	Buses   []surveyBus  `json:"buses"`
	Missing []surveyLost `json:"missing"`
}

type surveyBus struct {
	Bus     string        `json:"bus"`
	Problem string        `json:"problem"`
	Notes   []string      `json:"notes"`
	Probes  []surveyProbe `json:"probes"`
	held    bool
	unused  bool   // all buses of a kind are missing, and no probe of that kind is configured
	behind  string // the bridge it hangs on, as its I2C bus shows it
}

// surveyProbe is one probe on a bus, bound or free.
type surveyProbe struct {
	Source   string           `json:"source"`
	Identity string           `json:"identity"`
	Chip     string           `json:"chip"`
	Binds    string           `json:"binds"`
	MayBe    []string         `json:"may_be"` // chips, where nothing tells which
	Notes    []string         `json:"notes"`
	Place    *surveyPlace     `json:"bound"`
	Values   []surveyMeasured `json:"values"`
	Health   *probeHealth     `json:"health"` // from a running daemon

	found   sensors.Found
	config  *probeConfig
	pending chan sensors.Told // of a read that has not come back; a second one would only hang as well
}

type surveyPlace struct {
	Probe string          `json:"probe"`
	Nest  string          `json:"nest"`
	Role  thresholds.Role `json:"role"` // empty where no nest names the probe
}

type surveyMeasured struct {
	Quantity string   `json:"quantity"`
	Unit     string   `json:"unit"`
	Value    *float64 `json:"value"`
	Fault    *string  `json:"fault"`
}

// surveyLost is a configured probe that no bus shows.
type surveyLost struct {
	surveyPlace
	Source   string       `json:"source"`
	Identity string       `json:"identity"`
	Unseen   bool         `json:"unseen"` // its bus was not searched: of a kind that cannot be, or read by the daemon
	Health   *probeHealth `json:"health"`
}

// probeHealth is what the daemon says of a probe; package web documents it.
type probeHealth struct {
	Probe    string                   `json:"probe"`
	Reads    uint64                   `json:"reads"`
	Rejected map[sensors.Fault]uint64 `json:"rejected"`
	LastGood *time.Time               `json:"last_good"`
	Errors   *float64                 `json:"error_ratio"`
	Values   []surveyMeasured         `json:"values"`
	Doubts   []string                 `json:"doubts"`
}

// daemonView is what the survey asks of a running daemon.
type daemonView struct {
	Probes []probeHealth `json:"probes"`
	Buses  []struct {
		Bus string `json:"bus"`
	} `json:"buses"`
	silent bool // it is there and may not be asked: it may read any bus
}

// holds reports whether the daemon reads the bus.
func (d *daemonView) holds(bus string) bool {
	if d == nil || d.silent {
		return d != nil
	}
	for _, b := range d.Buses {
		kind, more := strings.CutPrefix(b.Bus, bus)
		_, known := sourceKindOf(strings.TrimPrefix(kind, "-"))
		if more && (kind == "" || known) { // i2c-1, or i2c-1-kernel where two kinds share it
			return true
		}
		if strings.HasPrefix(b.Bus, onewire.Wire(bus)+"-0x") { // a bridge on it
			return true
		}
	}
	return false
}

func (d *daemonView) health(probe string) *probeHealth {
	if d == nil {
		return nil
	}
	for i := range d.Probes {
		if d.Probes[i].Probe == probe {
			return &d.Probes[i]
		}
	}
	return nil
}

// find searches the buses of every kind. c may be nil: nothing is bound then. No probe is read.
func find(ctx context.Context, root string, c *config, daemon *daemonView) *survey {
	s := &survey{Daemon: daemon != nil}
	for _, kind := range sourceKinds {
		if kind.finder.open == nil {
			continue
		}
		for _, b := range kind.finder.open(root, c).Find(ctx, daemon.holds) {
			bus := surveyBus{Bus: b.Bus, Problem: b.Problem, Notes: append([]string{}, b.Notes...), Probes: []surveyProbe{}, held: daemon.holds(b.Bus), behind: b.Behind}
			bus.unused = b.Problem != "" && b.Bus == kind.name && !c.uses(kind.name)
			for _, f := range b.Probes {
				p := surveyProbe{Source: kind.name, Identity: f.Identity, Chip: f.Chip, Binds: f.Binds, MayBe: append([]string{}, f.Candidates...), Notes: []string{}, found: f}
				if f.Note != "" {
					p.Notes = append(p.Notes, f.Note)
				}
				p.bind(root, c, kind, daemon)
				bus.Probes = append(bus.Probes, p)
			}
			s.Buses = append(s.Buses, bus)
		}
	}
	s.once()
	s.merge()
	s.lose(root, c, daemon)
	return s
}

// once leaves out what is listed twice and is bound to nothing: a 1-Wire number that two kinds show, a bridge that is a bus of its own.
// What can be read stays, and of two such the first.
func (s *survey) once() {
	best := map[string]*surveyProbe{}
	behind := map[string]bool{}
	for i := range s.Buses {
		behind[s.Buses[i].behind] = true
		for k := range s.Buses[i].Probes {
			p := &s.Buses[i].Probes[k]
			have := best[p.Identity]
			if have == nil || have.Place == nil && (p.Place != nil || have.found.Read == nil && p.found.Read != nil) {
				best[p.Identity] = p
			}
		}
	}
	for i := range s.Buses {
		var kept []surveyProbe
		for k := range s.Buses[i].Probes {
			if p := &s.Buses[i].Probes[k]; p.Place != nil || best[p.Identity] == p && !behind[p.Identity] {
				kept = append(kept, *p)
			}
		}
		s.Buses[i].Probes = append([]surveyProbe{}, kept...)
	}
}

// bind looks up which configured probe it is.
func (p *surveyProbe) bind(root string, c *config, kind sourceKind, daemon *daemonView) {
	if c == nil {
		return
	}
	for i := range c.Probes {
		have := &c.Probes[i]
		if have.Source == kind.name && kind.finder.identity(root, *have) == p.Identity {
			p.config, p.Place = have, c.placeOf(have.ID)
			p.Health = daemon.health(have.ID)
			return
		}
	}
}

func (c *config) uses(source string) bool {
	return c != nil && slices.ContainsFunc(c.Probes, func(p probeConfig) bool { return p.Source == source })
}

func (c *config) placeOf(id string) *surveyPlace {
	at := c.places()[id]
	return &surveyPlace{Probe: id, Nest: at.Nest, Role: at.Role}
}

// merge puts what two kinds found on one bus together, and leaves out that a kind found nothing where the bus is there all the same.
func (s *survey) merge() {
	var buses []surveyBus
	for _, b := range s.Buses {
		if len(b.Probes) == 0 && slices.ContainsFunc(s.Buses, func(other surveyBus) bool { return other.Bus == onewire.Wire(b.Bus) }) {
			continue // w1 shows a wire that only onewire can read
		}
		i := slices.IndexFunc(buses, func(have surveyBus) bool { return have.Bus == b.Bus })
		if i < 0 {
			buses = append(buses, b)
			continue
		}
		buses[i].Probes, buses[i].Notes = append(buses[i].Probes, b.Probes...), append(buses[i].Notes, b.Notes...)
		buses[i].held = buses[i].held || b.held
		if len(buses[i].Probes) > 0 {
			buses[i].Problem = ""
		}
	}
	s.Buses = buses
}

// lose lists the configured probes that were not found. Those that only the daemon can see are listed with what it knows of them.
func (s *survey) lose(root string, c *config, daemon *daemonView) {
	s.Missing = []surveyLost{}
	if c == nil {
		return
	}
	for i, p := range c.Probes {
		bound := false
		for _, b := range s.Buses {
			bound = bound || slices.ContainsFunc(b.Probes, func(f surveyProbe) bool { return f.config != nil && f.config.ID == p.ID })
		}
		if bound {
			continue
		}
		lost := surveyLost{surveyPlace: *c.placeOf(p.ID), Source: p.Source, Identity: p.wire(), Health: daemon.health(p.ID)}
		kind, _ := sourceKindOf(p.Source)
		searched := kind.finder.open != nil
		if searched {
			lost.Identity = kind.finder.identity(root, p)
		}
		if hangs := p.hangsOn(kind, root); lost.Health != nil && (!searched || kind.finder.shy && daemon.holds(hangs)) {
			s.put(hangs, surveyProbe{
				Source: p.Source, Identity: lost.Identity, Chip: p.probe(c).Chip, MayBe: []string{}, Notes: []string{},
				Place: &lost.surveyPlace, Health: lost.Health, config: &c.Probes[i],
			})
			continue
		}
		lost.Unseen = !searched || lost.Health != nil && slices.ContainsFunc(lost.Health.Values, func(v surveyMeasured) bool { return v.Value != nil })
		s.Missing = append(s.Missing, lost)
	}
}

// hangsOn names the wire as the daemon does.
func (p probeConfig) hangsOn(kind sourceKind, root string) string {
	if kind.wire == nil {
		return p.Source
	}
	return kind.wire(root, p)
}

// put adds a probe to a bus, and the bus where it is not listed yet.
func (s *survey) put(bus string, p surveyProbe) {
	i := slices.IndexFunc(s.Buses, func(b surveyBus) bool { return b.Bus == bus })
	if i < 0 {
		i, s.Buses = len(s.Buses), append(s.Buses, surveyBus{Bus: bus, Notes: []string{}})
	}
	s.Buses[i].Probes = append(s.Buses[i].Probes, p)
}

// read takes one reading of every probe of which the daemon has none, all buses at once.
func (s *survey) read(ctx context.Context) {
	var all sync.WaitGroup
	for i := range s.Buses {
		all.Go(func() {
			hangs := false
			for k := range s.Buses[i].Probes {
				hangs = s.Buses[i].Probes[k].measure(ctx, hangs)
			}
		})
	}
	all.Wait()
}

// measure reads the probe, or takes what the daemon read. A probe on a bus that hangs is not asked.
func (p *surveyProbe) measure(ctx context.Context, busHangs bool) (hangs bool) {
	p.Values = []surveyMeasured{}
	if p.Health != nil {
		p.Values = append(p.Values, p.Health.Values...)
		return busHangs
	}
	if p.found.Read == nil || ctx.Err() != nil || busHangs {
		return busHangs
	}
	readings, told := p.take(ctx, p.offset())
	for _, r := range readings {
		m := surveyMeasured{Quantity: r.Quantity.String(), Unit: r.Quantity.Unit()}
		if r.OK() {
			m.Value = &r.Value
		} else {
			fault := string(r.Fault)
			m.Fault = &fault
		}
		p.Values = append(p.Values, m)
	}
	p.learn(told)
	return p.pending != nil
}

// learn keeps what a reading gave away.
func (p *surveyProbe) learn(told sensors.Told) {
	if told.Note != "" && !slices.Contains(p.Notes, told.Note) {
		p.Notes = append(p.Notes, told.Note)
	}
	if told.Binds != "" && p.found.Binds != "" {
		p.Binds = p.found.Binds + ", " + told.Binds
	}
}

func (p *surveyProbe) offset() sensors.Offset {
	if p.config == nil || p.config.Offset == nil {
		return sensors.Offset{}
	}
	return *p.config.Offset
}

// readLimit is how much longer than it should take a probe's read counts as hanging. Ours, no source.
const readLimit = 5 * time.Second

// take reads the probe once and screens what it says, as the daemon does. A read that hangs is left behind, as it cannot be broken off.
func (p *surveyProbe) take(ctx context.Context, offset sensors.Offset) ([]sensors.Reading, sensors.Told) {
	if p.pending == nil {
		pending := make(chan sensors.Told, 1)
		go func() { pending <- p.found.Read(ctx) }()
		p.pending = pending
	}
	limit := time.NewTimer(readLimit + p.found.Takes)
	defer limit.Stop()
	var told sensors.Told
	select {
	case told = <-p.pending:
		p.pending = nil
	case <-limit.C:
		told = sensors.Told{
			Readings: []sensors.Reading{{Fault: sensors.TimedOut}}, Note: "its bus hangs: look for a short or water on the line, and restart the board when nothing is found",
		}
	case <-ctx.Done():
		return nil, told
	}
	readings := slices.Clone(told.Readings)
	for i := range readings {
		readings[i].Probe = p.Identity
	}
	screen.New([]sensors.Probe{{ID: p.Identity, Chip: p.Chip, Quantities: sensors.Quantities[:], Offset: offset}}).Apply(readings)
	return readings, told
}
