package simulated

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"nestmon/sensors"
)

// EventKind is what may befall a nest or its probes.
type EventKind string

// The events. Amount is explained where it means something; 0 takes the figure in brackets.
const (
	PoorCover    EventKind = "poor-cover"    // the bedding is PoorBedding for the time
	Scatter      EventKind = "scatter"       // kits lie apart, uncovered; Amount is how far, 0..1 [0.9]
	Starve       EventKind = "starve"        // the doe stays away
	Death        EventKind = "death"         // the litter dies at From
	VentBlocked  EventKind = "vent-blocked"  // Amount is the share of air exchange left [0.12]
	Wet          EventKind = "wet"           // Amount is g of water spilt at From [350]
	Shade        EventKind = "shade"         // the keeper shades the nest and opens the cover
	DoeVisit     EventKind = "doe-visit"     // the doe nurses at From, for her usual time
	Inspection   EventKind = "inspection"    // a person lifts the lid at From, until To or for some minutes
	FreshBedding EventKind = "fresh-bedding" // at From free water and wet bedding go, and Bedding, if any, comes
	ProbePulled  EventKind = "probe-pulled"  // the cluster probe lies in nest air
	Stuck        EventKind = "stuck"         // the probe repeats its last value
	Dropout      EventKind = "dropout"       // the probe does not answer; Amount is the share of readings lost [1]
	ErrorCode    EventKind = "error-code"    // a temperature probe answers 85 °C; Amount is the share of readings [1]
	Drift        EventKind = "drift"         // the temperature runs away by Amount K/h [-0.15]
)

// eventFacts says how each kind is to be understood. The amounts are assumed.
var eventFacts = map[EventKind]struct {
	amount float64
	once   bool // happens at From
	probe  bool // befalls probes
}{
	PoorCover:    {},
	Scatter:      {amount: 0.9},
	Starve:       {},
	Death:        {once: true},
	VentBlocked:  {amount: 0.12},
	Wet:          {amount: 350, once: true},
	Shade:        {},
	DoeVisit:     {once: true},
	Inspection:   {once: true},
	FreshBedding: {once: true},
	ProbePulled:  {probe: true},
	Stuck:        {probe: true},
	Dropout:      {amount: 1, probe: true},
	ErrorCode:    {amount: 1, probe: true},
	Drift:        {amount: -0.15, probe: true},
}

// Event is something that happens by script.
type Event struct {
	Kind     EventKind
	Nest     string    // "" only for a Probe that hangs outside
	Probe    string    // for what befalls probes; "" is all of the nest's that it can befall
	From, To time.Time // To may be zero for what happens once, and is then never for the rest
	Amount   float64
	Bedding  Bedding // of FreshBedding
}

// planned is an Event on the world's clock.
type planned struct {
	Event
	from, to time.Duration
	done     bool
}

func (p *planned) rules(at time.Duration) bool { return at >= p.from && at < p.to }

const never = time.Duration(math.MaxInt64)

// plan checks an event and puts it on a clock that was zero at origin.
func plan(e Event, origin time.Time) (planned, error) {
	facts, ok := eventFacts[e.Kind]
	if !ok {
		names := make([]string, 0, len(eventFacts))
		for kind := range eventFacts {
			names = append(names, string(kind))
		}
		slices.Sort(names)
		return planned{}, fmt.Errorf("%q is not an event; write one of: %s", e.Kind, strings.Join(names, ", "))
	}
	if e.From.IsZero() {
		return planned{}, fmt.Errorf("%s has no beginning; give From", e.Kind)
	}
	p := planned{Event: e, from: e.From.Sub(origin), to: never}
	if !e.To.IsZero() {
		p.to = e.To.Sub(origin)
	}
	if p.to <= p.from {
		return planned{}, fmt.Errorf("%s ends before it begins; give To later than From", e.Kind)
	}
	if e.Probe != "" && !facts.probe {
		return planned{}, fmt.Errorf("%s befalls a nest, not probe %q; leave Probe out", e.Kind, e.Probe)
	}
	if e.Bedding != "" {
		if _, err := e.Bedding.layers(); err != nil {
			return planned{}, err
		}
	}
	if p.Amount == 0 {
		p.Amount = facts.amount
	}
	return p, nil
}

// befalls reports whether an event of this kind can befall a probe of this kind, named or as one of a nest's.
func (p *planned) befalls(q *probe) bool {
	switch {
	case p.Probe != "" && p.Probe != q.ID:
		return false
	case p.Kind == ProbePulled:
		return q.at == inCluster
	case p.Kind == ErrorCode || p.Kind == Drift:
		return q.Measures(sensors.Temperature)
	}
	return true
}
