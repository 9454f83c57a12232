package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/sensors/offsets"
	"nestmon/sensors/radio"
	"nestmon/sensors/screen"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// workbench is where a person works with probes by way of the page, while the daemon reads them. It sees what the polls bring and what is read
// between them, as the chips give it and through a screen of its own: nothing of it reaches the decisions.
type workbench struct {
	d    *daemon
	root string

	mu        sync.Mutex    // held for moments: the readings of a poll wait for it
	job       job           // the newest, also when it is over; nil before the first
	stop      func()        // ends its look, nil when it has ended
	changed   chan struct{} // closed and replaced whenever there is something new
	followers int
	left      time.Time                 // since when nobody follows
	measured  map[string]offsets.Record // offsets that count from the next start
}

var _ web.Bench = (*workbench)(nil)

// job is one piece of work. Its methods are called by one goroutine at a time.
type job interface {
	name() string
	rest() time.Duration // of a bus between two readings
	take(now time.Time, readings []sensors.Reading)
	step(now time.Time) // lets time pass
	end()               // somebody wants no more of it
	over() bool
	lonely() bool // it ends when nobody follows
	show(now time.Time, w *web.Work)
}

// Ours, no source.
const (
	benchStep  = 500 * time.Millisecond // between two looks at the work
	benchLeave = 10 * time.Second       // a page that comes back within it finds its work
)

func newWorkbench(d *daemon, root string) *workbench {
	return &workbench{d: d, root: root, changed: make(chan struct{}), measured: map[string]offsets.Record{}}
}

// begin starts a piece of work, unless another is under way. Nothing in open may wait.
func (b *workbench) begin(open func() job) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.stop != nil {
		return errors.New(map[string]string{
			"warm": "somebody is looking for a probe just now; wait until that has ended, ten minutes at most",
			"ice":  "a probe is being compared with ice just now; wait until that has ended, or end it",
		}[b.job.name()])
	}
	ctx, stop := context.WithCancel(context.Background())
	b.job, b.stop, b.left = open(), stop, b.d.pace.Now()
	j := b.job
	screened := screen.New(b.bare())
	go b.d.poller.Look(ctx, sensors.Look{Every: b.d.cfg.Poll, Rest: j.rest(), Take: func(now time.Time, readings []sensors.Reading) {
		b.mu.Lock()
		defer b.mu.Unlock()
		if b.job != j || j.over() {
			return
		}
		screened.Apply(readings)
		j.take(now, readings)
		b.tell()
	}})
	go b.attend(ctx, j)
	return nil
}

// bare are the probes without their offsets: what is compared is what the chip says.
func (b *workbench) bare() []sensors.Probe {
	all := b.d.cfg.probes()
	for i := range all {
		all[i].Offset = sensors.Offset{}
	}
	return all
}

// attend lets time pass for a piece of work until it is over.
func (b *workbench) attend(ctx context.Context, j job) {
	tick := time.NewTicker(benchStep)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		b.mu.Lock()
		now := b.d.pace.Now()
		if j.step(now); j.lonely() && b.followers == 0 && now.Sub(b.left) > benchLeave {
			j.end()
		}
		b.settle()
		b.tell()
		b.mu.Unlock()
	}
}

// settle ends the look of a piece of work that is over.
func (b *workbench) settle() {
	if b.stop != nil && b.job.over() {
		b.stop()
		b.stop = nil
	}
}

func (b *workbench) tell() {
	close(b.changed)
	b.changed = make(chan struct{})
}

// close ends everything at the daemon's end.
func (b *workbench) close() { _ = b.End(context.Background()) }

// Doing implements web.Bench.
func (b *workbench) Doing() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.stop == nil {
		return ""
	}
	return b.job.name()
}

// End implements web.Bench.
func (b *workbench) End(context.Context) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.stop != nil {
		b.job.end()
		b.settle()
		b.tell()
	}
	return nil
}

// Follow implements web.Bench.
func (b *workbench) Follow(ctx context.Context, send func(web.Work) bool) {
	b.mu.Lock()
	b.followers++
	b.mu.Unlock()
	defer func() {
		b.mu.Lock()
		defer b.mu.Unlock()
		b.followers--
		b.left = b.d.pace.Now()
	}()
	for {
		w, changed := b.look()
		if !send(w) || w.Over {
			return
		}
		pause(ctx, benchStep)
		select {
		case <-changed:
		case <-ctx.Done():
			return
		}
	}
}

// look is how the work is, and what is closed when that is old.
func (b *workbench) look() (web.Work, <-chan struct{}) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.job == nil {
		return web.Work{Over: true}, b.changed
	}
	w := web.Work{Over: b.job.over()}
	b.job.show(b.d.pace.Now(), &w)
	return w, b.changed
}

// Probes implements web.Bench.
func (b *workbench) Probes() []web.Place {
	hangs, all := b.hangs(), []web.Place{}
	for i := range b.d.cfg.Probes {
		p := &b.d.cfg.Probes[i]
		at := b.d.cfg.placeOf(p.ID)
		v := web.Place{
			Probe: p.ID, Nest: optional(at.Nest), Bus: optional(hangs[p.ID].bus), Source: p.Source, Identity: b.identity(p), Chip: optional(hangs[p.ID].Chip),
			Watched: b.watched(p), Only: optional(b.onlyWatch(p.ID)), Raises: append([]alarm.Name{}, frozen[at.Role]...),
		}
		if at.Role != "" {
			v.Role = &at.Role
		}
		if err := mayFreeze(p, hangs[p.ID].Probe); err != nil {
			v.Ice = optional(err.Error())
		}
		all = append(all, v)
	}
	b.mu.Lock() // no sooner: who reads a bus waits for it, and the kernel may be slow to say what a probe is
	defer b.mu.Unlock()
	for i := range all {
		if r, ok := b.measured[all[i].Probe]; ok {
			o := r.Offset(b.d.cfg.location())
			all[i].Waiting = &web.Offset{Temperature: o.Temperature, Date: o.Date}
		}
	}
	return all
}

func optional(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

// identity is what a probe is bound to, as 'nestmon probes' lists it.
func (b *workbench) identity(p *probeConfig) string {
	if kind, _ := sourceKindOf(p.Source); kind.finder.identity != nil {
		return kind.finder.identity(b.root, *p)
	}
	return p.wire()
}

// watched reports whether warming the probe would show: one that speaks by itself does so too seldom, and would keep the others waiting.
func (b *workbench) watched(p *probeConfig) bool {
	return p.Source != radio.Kind && p.probe(b.d.cfg).Measures(sensors.Temperature)
}

// mayFreeze says why a probe cannot be compared with ice; have is what its source knows of it.
func mayFreeze(p *probeConfig, have sensors.Probe) error {
	switch {
	case !have.Measures(sensors.Temperature):
		return fmt.Errorf("%s measures no temperature", p.ID)
	case have.Measures(sensors.Humidity), sensors.ChipMeasures(have.Chip, sensors.Humidity), sensors.ChipMeasures(p.Device, sensors.Humidity):
		return ruined(p.ID)
	case p.Source == radio.Kind:
		return fmt.Errorf("%s speaks too seldom to be compared with ice; hold it beside a probe that was, and write its offset into the configuration", p.ID)
	}
	return nil
}

// hung is a probe on its bus, as its source knows it.
type hung struct {
	sensors.Probe
	bus string
}

func (b *workbench) hangs() map[string]hung {
	all := map[string]hung{}
	for _, bus := range b.d.poller.Buses() {
		for _, p := range bus.Probes {
			all[p.ID] = hung{p, bus.Bus}
		}
	}
	return all
}

// watching are the roles of the probes that tell how kits do.
var watching = []thresholds.Role{thresholds.Cluster, thresholds.Cluster2, thresholds.Air}

// onlyWatch names the nest that a probe is the only one to watch, while kits lie in it or may; empty where there is none.
func (b *workbench) onlyWatch(probe string) string {
	at := b.d.cfg.placeOf(probe)
	st := b.d.latest.Load()
	if at.Nest == "" || !slices.Contains(watching, at.Role) {
		return ""
	}
	if st == nil {
		return at.Nest
	}
	for _, n := range st.Snapshot.Nests {
		if n.ID != at.Nest {
			continue
		}
		if n.Stage == thresholds.Bred || n.Stage == thresholds.Empty && n.Litter != nil {
			return "" // none can lie there
		}
		for _, v := range n.Values {
			if v.Fresh && v.Probe != probe && v.Quantity == sensors.Temperature && slices.Contains(watching, v.Role) {
				return ""
			}
		}
	}
	return at.Nest
}
