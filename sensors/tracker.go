package sensors

import (
	"maps"
	"math"
	"slices"
	"sync"
	"time"
)

// errorsFade is how fast the share of errors forgets: after it, a reading counts a third. Ours, no source.
const errorsFade = time.Hour

// Tracker keeps the Health of every probe from its screened readings. It may be used by several goroutines.
type Tracker struct {
	mu     sync.Mutex
	order  []*tracked
	probes map[string]*tracked
}

type tracked struct {
	Health
	newest      time.Time // of all readings
	all, failed float64   // readings, faded
}

// NewTracker starts the count of each probe with every reason at zero, so that the first fault shows as a change.
func NewTracker(probes []Probe) *Tracker {
	t := &Tracker{probes: make(map[string]*tracked, len(probes))}
	for _, p := range probes {
		h := &tracked{Health: Health{Probe: p.ID, Rejected: make(map[Fault]uint64, len(Faults))}}
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
		h.take(r)
	}
}

// Recall takes usable readings of before the start: they tell when a probe was last well, and nothing of its conduct since.
func (t *Tracker) Recall(readings []Reading) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for i := range readings {
		if r := &readings[i]; r.OK() {
			if h := t.probes[r.Probe]; h != nil && r.Time.After(h.LastGood) {
				h.LastGood = r.Time
			}
		}
	}
}

func (h *tracked) take(r *Reading) {
	if gap := r.Time.Sub(h.newest); gap > 0 {
		if !h.newest.IsZero() {
			fade := math.Exp(-gap.Seconds() / errorsFade.Seconds())
			h.all, h.failed = h.all*fade, h.failed*fade
		}
		h.newest = r.Time
	}
	h.all++
	if !r.OK() {
		h.failed++
	}
	h.Errors = h.failed / h.all
	for i := range h.Latest {
		if l := &h.Latest[i]; l.Quantity == r.Quantity {
			if !r.Time.Before(l.Time) {
				*l = *r
			}
			return
		}
	}
	h.Latest = append(h.Latest, *r)
}

// Health returns a copy of what is known, in the order of the probes.
func (t *Tracker) Health() []Health {
	t.mu.Lock()
	defer t.mu.Unlock()
	all := make([]Health, 0, len(t.order))
	for _, h := range t.order {
		c := h.Health
		c.Rejected, c.Latest = maps.Clone(h.Rejected), slices.Clone(h.Latest)
		all = append(all, c)
	}
	return all
}
