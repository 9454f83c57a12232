package screen

import (
	"maps"
	"slices"
)

// State lists pointers to everything the screen remembers, in an order that depends on its probes alone, so that a screen of the same
// probes and watches can be made to go on where this one stands. A new field that lasts from one reading to the next belongs here; a
// test finds the forgotten ones.
func (s *Screen) State() []any {
	var all []any
	for _, id := range slices.Sorted(maps.Keys(s.probes)) {
		p := s.probes[id]
		all = append(all, &p.clipped)
		for i := range p.channels {
			c := &p.channels[i]
			all = append(append(append(all, &c.here, &c.at), c.trend.fields()...), c.frozen.fields()...)
		}
	}
	return all
}

func (t *trend) fields() []any { return []any{&t.ring, &t.n, &t.last, &t.side, &t.held} }

func (f *frozen) fields() []any { return []any{&f.value, &f.since, &f.newest, &f.moved} }
