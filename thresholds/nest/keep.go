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
		&c.wrong, &c.fault, &c.suspects, &c.oddSince, &c.good, &c.restarted, &c.cut,
		&c.fray.at, &c.fray.good, &c.fray.lost, &c.fray.run, &c.fray.on,
	}
}

// State lists what the site remembers.
func (s *Site) State() []any {
	all := []any{keep.Mark("site"), &s.harsh, &s.marks, &s.frost, &s.flying, &s.swarming}
	all = append(all, s.season.fields()...)
	all = append(all, s.does.fields()...)
	all = append(all, s.doe.fields()...)
	all = append(all, s.cold.fields()...)
	all = slices.Concat(all, s.lost.fields(), s.supply.drained.fields(), s.supply.unfit.fields(), s.swapped.fields(), s.warmer.fields())
	for i := range s.slots {
		all = append(all, keep.Mark(siteRules[i].name))
		all = append(all, s.slots[i].State()...)
	}
	return all
}

func (s *season) fields() []any {
	all := []any{&s.now, &s.since, &s.decided, &s.until, &s.lowest, &s.highest, &s.minutes, &s.all, &s.sinceChange, &s.yesterday, &s.known}
	return slices.Concat(all, s.mins.fields(), s.maxs.fields(), s.ground.fields(), s.ahead.fields())
}

func (g *ground) fields() []any { return []any{&g.days, &g.n} }

func (a *ahead) fields() []any { return []any{&a.last, &a.minute, &a.seen, &a.sum, &a.past, &a.at} }

func (d *does) fields() []any {
	return []any{&d.until, &d.highest, &d.any, &d.cool, &d.hotDays, &d.unused, &d.last, &d.night, &d.relief, &d.seen, &d.sleepless}
}

// State lists what the watch remembers of its nest.
func (w *Watch) State() []any {
	all := []any{keep.Mark(fmt.Sprintf("nest %+v", w.cfg)), &w.book, &w.has, &w.marks, &w.due.until, &w.due.due, &w.house.on, &w.house.rest}
	for _, part := range []interface{ fields() []any }{
		&w.days, &w.heat, &w.cold, &w.clusterHeat, &w.doe, &w.forecast, &w.pile, &w.birth, &w.visits, &w.damp, &w.wet, &w.lost, &w.learned,
	} {
		all = append(all, part.fields()...)
	}
	for i := range w.slots {
		all = append(all, keep.Mark(rules[i].name))
		all = append(all, w.slots[i].State()...)
	}
	return all
}

func (d *days) fields() []any { return []any{&d.until, &d.bred, &d.age, &d.ended, &d.out} }

func (f *forecast) fields() []any {
	all := []any{&f.past, &f.at, &f.minutes, &f.sum, &f.fresh, &f.level, &f.trend, &f.seen, &f.missing, &f.highest, &f.soon, &f.known}
	return slices.Concat(all, f.limit.fields(), f.sun.fields())
}

func (s *sun) fields() []any {
	return append([]any{&s.outside, &s.sum, &s.fresh, &s.rise, &s.before}, s.limit.fields()...)
}

func (h *nestHeat) fields() []any { return append(h.levels.fields(), &h.urgent) }

func (p *pile) fields() []any {
	all := []any{&p.valid, &p.y, &p.core, &p.w, &p.inBlock, &p.closed, &p.far, &p.blind, &p.warm, &p.kits, &p.kitsAt, &p.grace}
	for i := range p.trails {
		all = append(all, p.trails[i].fields()...)
	}
	return slices.Concat(all, p.reading.fields(), p.air.fields(), p.logGap.fields(), p.a.fields(), p.out.fields(), p.chill.fields())
}

func (t *trail) fields() []any {
	return []any{
		&t.sum, &t.n, &t.raw, &t.at, &t.past, &t.noise, &t.blank, &t.since, &t.sinceStep, &t.before, &t.visited, &t.open, &t.moved,
		&t.hour, &t.inHour, &t.hourly, &t.hours, &t.recent, &t.usual, &t.hasRecent, &t.hasUsual,
	}
}

func (c *chill) fields() []any {
	all := []any{&c.core, &c.limit, &c.critical, &c.tau, &c.falling, &c.judged, &c.known, &c.restored}
	return slices.Concat(all, c.warn.fields(), c.crit.fields(), c.backstop.fields(), c.beside.fields(), c.steady.fields(), c.never.fields(),
		c.moved.fields(), c.low.fields(), c.unjudged.fields())
}

func (r *ruling) fields() []any { return []any{&r.below, &r.past, &r.lack, &r.since, &r.on, &r.byFall} }

func (b *birth) fields() []any {
	return []any{
		&b.minutes, &b.strong, &b.age, &b.since, &b.peak, &b.before, &b.last, &b.still, &b.proposed, &b.gap, &b.n, &b.hourly, &b.hours, &b.base, &b.slack,
	}
}

func (v *visits) fields() []any {
	return []any{&v.pulseAgo, &v.lidAgo, &v.visitAgo, &v.unseen, &v.last, &v.openedAt, &v.entered}
}

func (d *damp) fields() []any {
	all := []any{&d.dew, &d.wall, &d.soaked, &d.found, &d.wetFor, &d.wetAt, &d.was, &d.cold.on, &d.cold.since, &d.full.on, &d.full.since, &d.judged}
	return slices.Concat(all, d.moisture.fields(), d.used.fields(), d.humid.fields(), d.tote.fields(), d.condensing.fields())
}

func (m *moisture) fields() []any {
	return []any{
		&m.minute, &m.seen, &m.excess, &m.room, &m.recent, &m.past, &m.at, &m.kits, &m.on, &m.known, &m.now, &m.usual, &m.filled,
	}
}

func (c *wetCell) fields() []any { return []any{&c.full, &c.dry, &c.since, &c.on} }

func (u *used) fields() []any {
	return slices.Concat(u.co2.fields(), u.flow.fields(), u.stuffy.fields())
}

func (t *toteDamp) fields() []any {
	all := []any{&t.known, &t.stepUp, &t.leaks, &t.rainAt, &t.rained}
	return slices.Concat(all, t.wet.fields(), t.full.fields(), t.usual.fields(), t.rain.fields())
}

func (l *learned) fields() []any {
	all := []any{
		&l.at, &l.sum, &l.n, &l.count, &l.upset, &l.bare, &l.last, &l.date, &l.nights, &l.numNights, &l.days, &l.numDays,
		&l.follows, &l.share, &l.damped, &l.late,
	}
	return slices.Concat(all, l.tonight.fields(), l.today.fields(), l.health.fields(), l.drift.fields())
}

func (t *tonight) fields() []any {
	all := []any{&t.date, &t.n, &t.excess}
	for i := range t.heads {
		all = append(all, t.heads[i].fields()...)
	}
	return slices.Concat(all, t.follows.fields(), t.all.fields(), t.side.fields())
}

func (f *follows) fields() []any { return []any{&f.n, &f.y, &f.x, &f.z, &f.zx, &f.zy} }

func (d *daySums) fields() []any { return []any{&d.n, &d.from, &d.bb, &d.by} }

func (h *heads) fields() []any {
	return []any{&h.n, &h.s, &h.ss, &h.c, &h.sc, &h.cc, &h.o, &h.so, &h.oo, &h.a, &h.aa, &h.cluster, &h.ca2, &h.least}
}

func (h *health) fields() []any {
	all := []any{&h.told, &h.lowAir, &h.cluster, &h.air, &h.outside, &h.date, &h.since, &h.pending, &h.over, &h.turned}
	for i := range h.told {
		all = slices.Concat(all, h.well[i].fields(), h.hot[i].fields(), h.cool[i].fields(), h.onPile[i].fields(), h.righted[i].fields())
	}
	return all
}

func (s *sideBySide) fields() []any {
	all := s.pair.fields()
	for i := range s.air {
		all = slices.Concat(all, s.air[i].fields(), s.under[i].fields())
	}
	return all
}

func (r *reach) fields() []any { return []any{&r.n, &r.least, &r.most} }

func (d *drift) fields() []any {
	return []any{&d.on, &d.told, &d.since, &d.date, &d.maybe, &d.seen, &d.nights}
}

func (c *claim) fields() []any { return []any{&c.date, &c.worst, &c.nest} }

func (l *levels) fields() []any { return append(l.warn.fields(), l.crit.fields()...) }

func (d *dwell) fields() []any {
	return []any{&d.past, &d.since, &d.sinceWall, &d.first, &d.on, &d.returning, &d.backSince, &d.backFirst, &d.unseen, &d.unseenAt}
}

func (s *silence) fields() []any {
	return slices.Concat([]any{&s.long}, s.faulty.fields(), s.frays.fields(), s.spell.fields(), s.back.fields())
}

func (l *level) fields() []any { return []any{&l.minutes, &l.since} }

func (r *ring) fields() []any { return []any{&r.at, &r.vals} }

func (e *ewma) fields() []any { return []any{&e.value, &e.ok} }
