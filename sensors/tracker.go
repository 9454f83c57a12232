package sensors

import (
	"maps"
	"sync"
)

// Tracker keeps the Health of every probe from its screened readings. It may be used by several goroutines.
type Tracker struct {
	mu     sync.Mutex
	order  []*Health
	probes map[string]*Health
}

// NewTracker starts the count of each probe with every reason at zero, so that the first fault shows as a change.
func NewTracker(probes []Probe) *Tracker {
	t := &Tracker{probes: make(map[string]*Health, len(probes))}
	for _, p := range probes {
		h := &Health{Probe: p.ID, Rejected: make(map[Fault]uint64, len(Faults))}
		for _, f := range Faults {
			h.Rejected[f] = 0
		}
		t.order = append(t.order, h)
		t.probes[p.ID] = h
	}
	return t
}

// Observe counts readings after the screen; those of probes it was not told of are passed over.
func (t *Tracker) Observe(readings []Reading) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for i := range readings {
		r := &readings[i]
		h := t.probes[r.Probe]
		switch {
		case h == nil:
			continue
		case r.OK():
			if r.Time.After(h.LastGood) {
				h.LastGood = r.Time
			}
		default:
			h.Rejected[r.Fault]++
			if !r.Time.Before(h.FaultAt) {
				h.LastFault, h.FaultAt = r.Fault, r.Time
			}
		}
		h.Reads++
	}
}

// Health returns a copy of what is known, in the order of the probes.
func (t *Tracker) Health() []Health {
	t.mu.Lock()
	defer t.mu.Unlock()
	all := make([]Health, 0, len(t.order))
	for _, h := range t.order {
		c := *h
		c.Rejected = maps.Clone(h.Rejected)
		all = append(all, c)
	}
	return all
}
