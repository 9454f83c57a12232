package simulated

import (
	"context"
	"fmt"
	"slices"
	"sync/atomic"
	"time"

	"nestmon/sensors"
)

// Source reads some of a world's probes. Several sources may share one world.
type Source struct {
	world  *World
	bus    string
	now    func() time.Time
	probes []*probe
	closed atomic.Bool
}

var _ sensors.Source = (*Source)(nil)

// Source makes a bus of the probes named, or of all. Read lets the world pass until now.
func (w *World) Source(bus string, now func() time.Time, ids ...string) (*Source, error) {
	s := &Source{world: w, bus: bus, now: now, probes: w.probes}
	if len(ids) > 0 {
		s.probes = nil
	}
	for _, id := range ids {
		i := slices.IndexFunc(w.probes, func(q *probe) bool { return q.ID == id })
		if i < 0 {
			return nil, fmt.Errorf("simulated: bus %s: no probe %q in this world; name a probe of its nests", bus, id)
		}
		s.probes = append(s.probes, w.probes[i])
	}
	return s, nil
}

// Bus implements sensors.Source.
func (s *Source) Bus() string { return s.bus }

// Probes implements sensors.Source.
func (s *Source) Probes() []sensors.Probe {
	all := make([]sensors.Probe, len(s.probes))
	for i, q := range s.probes {
		all[i] = q.Probe
	}
	return all
}

// Read implements sensors.Source. A world that is far behind catches up only while ctx lasts.
func (s *Source) Read(ctx context.Context) []sensors.Reading {
	now := s.now()
	w := s.world
	w.mu.Lock()
	defer w.mu.Unlock()
	var all sensors.Fault
	switch {
	case s.closed.Load():
		all = sensors.BusDown
	case !w.advance(ctx, now.Sub(w.origin)):
		all = sensors.TimedOut
	}
	readings := make([]sensors.Reading, 0, 2*len(s.probes))
	for _, q := range s.probes {
		fault := all
		if fault == "" && q.absent {
			fault = sensors.NoAnswer
		}
		for _, quantity := range q.Quantities {
			r := sensors.Reading{Probe: q.ID, Quantity: quantity, Time: now, Fault: fault}
			if fault == "" {
				r.Value = q.values[quantity]
			}
			readings = append(readings, r)
		}
	}
	return readings
}

// Close implements sensors.Source. The world goes on for its other sources.
func (s *Source) Close() error {
	s.closed.Store(true)
	return nil
}
