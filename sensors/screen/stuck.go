package screen

import (
	"time"

	"nestmon/sensors"
)

// frozen follows how long a channel has shown the same value, and how far its neighbours moved meanwhile.
type frozen struct {
	value  float64
	since  time.Time
	newest time.Time
	anew   bool      // the newest value began a stretch
	others []*frozen // temperatures of the other probes of the nest
	moved  []span    // what those showed since, by others
	seen   []seenBy  // the spans of other channels that this one's values go to
}

type span struct {
	Low, High float64
	Any       bool
}

type seenBy struct {
	by *frozen
	at int // in by.moved
}

// see takes the channel's next value; gone means that the probe was silent too long for the values to be one stretch.
func (f *frozen) see(v float64, at time.Time, gone bool) {
	f.anew = v != f.value || gone || f.since.IsZero() || at.Before(f.newest)
	if f.anew {
		f.value, f.since = v, at
	}
	f.newest = at
}

// follow tells the neighbours of the value seen, and looks at theirs where a new stretch has begun. All of a poll are seen before, so
// that their order in it says nothing.
func (f *frozen) follow() {
	if f.anew {
		for i, o := range f.others {
			f.moved[i] = span{Low: o.value, High: o.value, Any: !o.since.IsZero()}
		}
	}
	for _, s := range f.seen {
		m := &s.by.moved[s.at]
		if !m.Any {
			*m = span{f.value, f.value, true}
			continue
		}
		m.Low, m.High = min(m.Low, f.value), max(m.High, f.value)
	}
}

func (f *frozen) lasted() time.Duration { return f.newest.Sub(f.since) }

// watch links the temperature channels of the probes that watch one nest.
func (s *Screen) watch(w Watch) {
	for _, id := range w.Probes {
		mine := s.probes[id]
		if mine == nil {
			continue
		}
		if w.Outside {
			mine.outside = true
			continue
		}
		me := &mine.channels[sensors.Temperature].frozen
		for _, other := range w.Probes {
			theirs := s.probes[other]
			if theirs == nil || theirs == mine {
				continue
			}
			them := &theirs.channels[sensors.Temperature].frozen
			me.others = append(me.others, them)
			me.moved = append(me.moved, span{})
			them.seen = append(them.seen, seenBy{me, len(me.moved) - 1})
		}
	}
}

// Stuck reports whether the probe has shown one value while it should have moved: a nest probe while another probe of its
// nest did, an outside probe when temperature and humidity both stood still for longer than real weather does. An outside
// probe without humidity is never called stuck: quiet winter nights stand still as long.
func (s *Screen) Stuck(id string) bool {
	p := s.probes[id]
	return p != nil && p.frozen()
}

func (p *probe) frozen() bool {
	t := &p.channels[sensors.Temperature].frozen
	if p.outside {
		h := &p.channels[sensors.Humidity].frozen
		return t.lasted() > outsideFrozen && h.lasted() > outsideFrozen
	}
	if len(t.moved) == 0 || t.lasted() <= nestFrozen {
		return false
	}
	for _, m := range t.moved {
		if m.Any && m.High-m.Low > nestMoved {
			return true
		}
	}
	return false
}
