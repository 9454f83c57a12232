package nest

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/keep"
)

// Everything below lists what its receiver must not forget over a restart (package keep). A new field that lasts from one minute
// to the next belongs here; a test finds the forgotten ones.

// State lists what is known of the newest readings.
func (cs *Channels) State() []any {
	var all []any
	for _, id := range slices.Sorted(maps.Keys(cs.byProbe)) {
		for _, c := range cs.byProbe[id] {
			if c != nil {
				all = append(all, keep.Mark(id+" "+c.Quantity.String()))
				all = append(all, c.fields()...)
			}
		}
	}
	return all
}

// Resume tells that nobody asked for any probe since the last poll, for a gap that is over now. A channel that the gap alone would make
// silent waits for its first reading; one that was silent before still is.
func (cs *Channels) Resume(n *Now, gap time.Duration) {
	after := Now{Mono: n.Mono + gap}
	for _, set := range cs.byProbe {
		for _, c := range set {
			if c != nil && c.silentFor(n) <= c.stale && c.silentFor(&after) > c.stale {
				c.restart()
			}
		}
	}
}

// Resume takes what stood of the nest's alarms when that was last stored.
func (w *Watch) Resume(stored []alarm.Standing) {
	for i := range rules {
		w.slots[i].Agree(alarm.Find(stored, w.cfg.ID, rules[i].name))
	}
}

// Resume takes what stood of the site's alarms.
func (s *Site) Resume(stored []alarm.Standing) {
	for i := range siteRules {
		s.slots[i].Agree(alarm.Find(stored, "", siteRules[i].name))
	}
}

func (c *Channel) fields() []any {
	return []any{
		&c.known, &c.first, &c.seen, &c.value, &c.wall, &c.at, &c.count,
		&c.wrong, &c.fault, &c.suspects, &c.oddSince, &c.good, &c.restarted,
	}
}

// State lists what the site remembers.
func (s *Site) State() []any {
	all := []any{keep.Mark("site"), &s.harsh, &s.done}
	all = append(all, s.season.fields()...)
	all = append(all, s.does.fields()...)
	all = append(all, s.doe.fields()...)
	all = append(all, s.cold.fields()...)
	all = append(all, s.lost.fields()...)
	for i := range s.slots {
		all = append(all, keep.Mark(siteRules[i].name))
		all = append(all, s.slots[i].State()...)
	}
	return all
}

func (s *season) fields() []any {
	all := []any{&s.now, &s.since, &s.decided, &s.until, &s.lowest, &s.highest, &s.minutes, &s.all, &s.sinceChange}
	return slices.Concat(all, s.mins.fields(), s.maxs.fields())
}

func (d *does) fields() []any {
	return []any{&d.until, &d.highest, &d.any, &d.cool, &d.hotDays, &d.unused, &d.relief, &d.relieved, &d.nights, &d.last}
}

// State lists what the watch remembers of its nest.
func (w *Watch) State() []any {
	all := []any{keep.Mark(fmt.Sprintf("nest %+v", w.cfg)), &w.book, &w.has, &w.done, &w.due.until, &w.due.due}
	for _, part := range []interface{ fields() []any }{
		&w.days, &w.heat, &w.cold, &w.clusterHeat, &w.doe, &w.forecast, &w.pile, &w.birth, &w.visits, &w.damp, &w.lost,
	} {
		all = append(all, part.fields()...)
	}
	for i := range w.slots {
		all = append(all, keep.Mark(rules[i].name))
		all = append(all, w.slots[i].State()...)
	}
	return all
}

func (d *days) fields() []any { return []any{&d.until, &d.bred, &d.age, &d.ended} }

func (f *forecast) fields() []any {
	return append([]any{&f.past, &f.at, &f.minutes, &f.days, &f.highest, &f.known}, f.limit.fields()...)
}

func (p *pile) fields() []any {
	all := []any{
		&p.valid, &p.y, &p.core, &p.w, &p.gain, &p.hour, &p.minutes, &p.hourly, &p.hours, &p.blind, &p.warm, &p.kits, &p.kitsAt, &p.sinceDrop,
	}
	return slices.Concat(all, p.reading.fields(), p.air.fields(), p.logGap.fields(), p.a.fields(), p.out.fields(), p.chill.fields())
}

func (c *chill) fields() []any {
	all := []any{&c.limit, &c.critical, &c.tau, &c.falling, &c.judged, &c.known}
	return slices.Concat(all, c.warn.fields(), c.crit.fields(), c.backstop.fields(), c.beside.fields(), c.steady.fields(), c.cold.fields(), c.unjudged.fields())
}

func (s *score) fields() []any { return []any{&s.minutes, &s.since, &s.on} }

func (b *birth) fields() []any {
	return []any{&b.sum, &b.minutes, &b.since, &b.proposed, &b.gap, &b.n, &b.hourly, &b.hours, &b.base, &b.hasBase}
}

func (v *visits) fields() []any {
	return []any{&v.pulseAgo, &v.before, &v.lidAgo, &v.visitAgo, &v.seen, &v.unseen, &v.last, &v.lookedAt, &v.entered}
}

func (d *damp) fields() []any {
	all := []any{&d.excess, &d.known, &d.index}
	return slices.Concat(all, d.co2.fields(), d.flow.fields(), d.stuffy.fields(), d.humid.fields(), d.wet.fields())
}

func (l *levels) fields() []any { return append(l.warn.fields(), l.crit.fields()...) }

func (d *dwell) fields() []any {
	return []any{&d.past, &d.since, &d.sinceWall, &d.first, &d.on, &d.returning, &d.backSince, &d.backFirst, &d.unseen, &d.unseenAt}
}

func (s *silence) fields() []any { return append(s.faulty.fields(), s.back.fields()...) }

func (l *level) fields() []any { return []any{&l.minutes, &l.since} }

func (r *ring) fields() []any { return []any{&r.at, &r.vals} }

func (e *ewma) fields() []any { return []any{&e.value, &e.ok} }
