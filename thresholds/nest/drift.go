package nest

import (
	"cmp"
	"fmt"
	"math"
	"time"

	"nestmon/thresholds/alarm"
)

// Numbers that tell a probe whose scale has crept away; ours, found on simulated nests, no source. In 2195 nights of simulated
// empty nests with sound probes two cluster probes were never more than 1.13 K apart all night, a cluster probe and nest air never more than 1.25 K.
//
// Beside live kits a slow fall is not told. A pile that creeps from one probe to the other makes their difference fall and rise by more in a day
// than a scale that loses 0.15 K an hour, and it does so as smoothly: a line through a day or two, drawn against the other probe and
// against nest air, found 6 of 41 simulated drifts where it doubted 5 of 950 sound probes. What is left there is a floor: nothing in a box is colder than
// all that surrounds it; the ground under a tote may be. Nor is nest air laid beside the air outside: a shed, a wall in the sun and a doe beside the box all part the two for days
// (lowAir tells the one case that none of them makes).
const (
	driftPair   = 1.5 // K between two cluster probes in the same cold straw: three times what a DS18B20 may be off by
	driftAir    = 2.0 // K between a cluster probe and the air of its box: straw lies on a floor, and air hangs under a lid
	driftWarm   = 5.0 // K from which on something warm may lie at one of them: a scale that creeps is told of before, while no kits are there
	driftUnder  = 1.5 // K of a cluster probe under its pair, nest air and the air outside
	driftBack   = 0.5 // K under these at which two probes agree again
	driftSteady = 1.5 // K by which a difference may change through a night: a scale's is the same at all hours, a doe's warmth is not
	driftNights = 2   // that tell the same
	driftApart  = 2   // nights from one of them to the next: in one between a doe may have sat there
	driftKept   = 14  // nights for which a probe that was under everything is remembered, while no empty nest shows it well
)

// reach is the least and the most of a difference through a night, K.
type reach struct {
	n           int // quarters of an hour
	least, most float64
}

func (r *reach) add(v float64) {
	if r.n == 0 {
		r.least, r.most = v, v
	}
	r.n++
	r.least, r.most = min(r.least, v), max(r.most, v)
}

// steady reports whether it was seen through a night and stayed the same.
func (r *reach) steady() bool { return r.n >= nightLeast && r.most-r.least <= driftSteady }

// all is what it was at least at every hour, with its sign; 0 where it changed sides.
func (r *reach) all() float64 { return max(r.least, 0) + min(r.most, 0) }

// middle is how far from nothing it was.
func (r *reach) middle() float64 { return math.Abs(r.least+r.most) / 2 }

// sideBySide is what the probes of a nest differ by, through the night that is under way.
type sideBySide struct {
	pair  reach    // first cluster probe less the second, in an empty nest
	air   [2]reach // each less nest air, in an empty box
	under [2]reach // each less the coldest of the other, nest air and outside, in a box
}

// empty reports whether nothing warm is known to be in the nest.
func (w *Watch) empty() bool { return w.has && (w.days.ended || w.days.age < 0) }

func (s *sideBySide) add(w *Watch, q *quarter) {
	first, second := placeCluster, placeCluster+1
	if q.Upset {
		return
	}
	if w.box() && q.Has[first] && q.Has[second] && q.Has[placeAir] && q.Has[placeOutside] {
		around := min(q.Mean[placeAir], q.Mean[placeOutside])
		s.under[0].add(q.Mean[first] - min(around, q.Mean[second]))
		s.under[1].add(q.Mean[second] - min(around, q.Mean[first]))
	}
	if !w.empty() {
		return
	}
	if q.Has[first] && q.Has[second] {
		s.pair.add(q.Mean[first] - q.Mean[second])
	}
	for i := range s.air {
		if w.box() && q.Has[first+i] && q.Has[placeAir] {
			s.air[i].add(q.Mean[first+i] - q.Mean[placeAir])
		}
	}
}

// parted is two probes that read apart, by their places. The zero value is none.
type parted struct {
	One, Other, Likely int // Likely is the one that drifted, 0 where nobody can tell
	K                  float64
	Under              bool // it was colder than everything
}

// judge says which two probes the night of an empty nest shows to be apart; ok is false where it shows none.
func (s *sideBySide) judge() (now parted, ok bool) {
	pair, first, second := &s.pair, &s.air[0], &s.air[1]
	three := first.steady() && second.steady()
	switch {
	case !pair.steady():
		for i := range s.air {
			if air := &s.air[i]; pair.n < nightLeast && air.steady() && math.Abs(air.all()) >= driftAir {
				return parted{One: placeCluster + i, Other: placeAir, K: air.all()}, true
			}
		}
	case math.Abs(pair.all()) >= driftPair:
		now = parted{One: placeCluster, Other: placeCluster + 1, K: pair.all()}
		switch further := second.middle() - first.middle(); {
		case !three || math.Abs(further) < driftBack:
		case further > 0:
			now.Likely = now.Other
		default:
			now.Likely = now.One
		}
		return now, true
	case three && (min(first.all(), second.all()) >= driftAir || max(first.all(), second.all()) <= -driftAir):
		return parted{One: placeCluster, Other: placeAir, Likely: placeAir, K: first.all()}, true
	}
	return now, false
}

// agree reports whether two probes that were apart read alike again.
func (s *sideBySide) agree(p parted) bool {
	between, most := &s.pair, driftPair
	if p.Other == placeAir {
		between, most = &s.air[p.One-placeCluster], driftAir
	}
	return between.steady() && math.Abs(between.all()) < most-driftBack
}

// same reports whether two nights tell the same.
func (p parted) same(o parted) bool {
	return p.One == o.One && p.Other == o.Other && (p.K > 0) == (o.K > 0)
}

// drift is what nights have told of scales that crept away.
type drift struct {
	on     bool
	told   parted // stays when it is over: an alarm may outlast it by a minute
	since  time.Time
	date   int    // of the night that told it last
	maybe  parted // of the last night that told of any
	seen   int    // the date of that night
	nights int    // that told it, none far from the one before
}

// night judges a night that is over. A probe that hangs where another should has another fault.
func (d *drift) night(w *Watch, n *Now, date int, s *sideBySide) {
	h := &w.learned.health
	if h.mixed() || h.lowAir {
		return
	}
	for i := range s.under {
		if r := &s.under[i]; r.n >= nightLeast && r.most <= -driftUnder && h.date == date && h.told[i] != tooCold {
			d.tell(parted{One: placeCluster + i, Other: placeCluster + 1 - i, Likely: placeCluster + i, K: r.most, Under: true}, date, n)
			return
		}
	}
	if d.told.Under && date-d.date > driftKept {
		d.on = false
	}
	was := d.maybe
	if d.on {
		was = d.told
	}
	seen, ok := s.judge()
	switch {
	case !ok && was.One != 0 && s.agree(was):
		d.on, d.nights = false, 0
	case ok:
		if !d.maybe.same(seen) || date-d.seen > driftApart {
			d.nights = 0
		}
		d.maybe, d.seen = seen, date
		if d.nights++; d.nights >= driftNights {
			d.tell(seen, date, n)
		}
	}
}

// putBack takes a date after which no night has been.
func (d *drift) putBack(today int) {
	d.date = min(d.date, today)
	if d.seen >= today {
		d.nights = 0
	}
}

func (d *drift) tell(p parted, date int, n *Now) {
	if !d.on {
		d.since = n.Wall
	}
	d.on, d.told, d.date = true, p, date
}

// at is the channel of a place of the nest.
func (w *Watch) at(place int) *Channel {
	if place == placeAir {
		return w.air
	}
	return w.cluster[place-placeCluster]
}

// condition adds that two probes of the nest have drifted apart.
func (d *drift) condition(w *Watch, c *alarm.Condition) {
	if c.Count > 0 || !d.on {
		return
	}
	c.Count, c.Why, c.Probe, c.Severity, c.Since = 1, whyDrift, w.at(cmp.Or(d.told.Likely, d.told.One)).Probe, alarm.Notice, d.since
	c.Value, c.Limit, c.HasValue, c.HasLimit, c.Unit = round2(math.Abs(d.told.K)), d.told.limit(), true, true, "C"
}

func (p parted) limit() float64 {
	switch {
	case p.Under:
		return driftUnder
	case p.Other == placeAir:
		return driftAir
	}
	return driftPair
}

// doubts names the one that drifted, or both where nobody can tell which.
func (d *drift) doubts(w *Watch, say func(probe string, d Doubt)) {
	switch {
	case !d.on:
	case d.told.Likely != 0:
		say(w.at(d.told.Likely).Probe, DoubtDrifting)
	default:
		say(w.at(d.told.One).Probe, DoubtDrifting)
		say(w.at(d.told.Other).Probe, DoubtDrifting)
	}
}

func (d *drift) words(w *Watch) string {
	one, other := w.at(d.told.One).Probe, w.at(d.told.Other).Probe
	const then = " Compare both with ice, in the room of probes on the page: a small error is corrected by that, a probe that goes on drifting has water in it and wants changing."
	by := difference(math.Abs(d.told.K))
	if d.told.Under {
		return fmt.Sprintf("%s read colder than %s, nest air and the air outside all night, by %s at least: nothing in a box is so cold, so it has drifted.", one, other, by) + then
	}
	which := "one of them has drifted"
	switch warmer := one; {
	case math.Abs(d.told.K) >= driftWarm:
		if d.told.K < 0 {
			warmer = other
		}
		which = fmt.Sprintf("kits that nobody entered may lie at %s, or one of the two has drifted; look into the nest first", warmer)
	case d.told.Likely == placeAir:
		which = fmt.Sprintf("%s has probably drifted, for the cluster probes agree", w.at(placeAir).Probe)
	case d.told.Likely != 0:
		which = fmt.Sprintf("%s has probably drifted, for it is farther from nest air", w.at(d.told.Likely).Probe)
	}
	return fmt.Sprintf("in the empty nest, where they should agree, %s and %s read %s apart, all night and for %d nights: %s.", one, other, by, driftNights, which) + then
}

func (d *drift) basis() basis {
	switch {
	case d.told.Under:
		return basis{fmt.Sprintf("a cluster probe more than %s under its pair, nest air and the air outside at every hour of a night", difference(driftUnder)), oursFound}
	case d.told.Other == placeAir:
		return basis{fmt.Sprintf("cluster probe and nest air of an empty box at least %s apart at every hour, and by much the same, for %d nights", difference(driftAir), driftNights), oursFound}
	}
	return basis{fmt.Sprintf("two cluster probes of an empty nest at least %s apart at every hour, and by much the same, for %d nights", difference(driftPair), driftNights), oursFound}
}
