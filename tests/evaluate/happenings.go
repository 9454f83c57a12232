package main

import (
	"time"

	"nestmon/sensors/simulated"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// foundWithin is how soon after birth a kindling must be called.
const foundWithin = 12 * time.Hour

// kindlings is how births were called.
type kindlings struct {
	litters, found, premature, late int
	empties, called                 int
	delays                          []float64 // min
}

func scoreKindling(records []*record, called func(*record) time.Time) kindlings {
	var k kindlings
	for _, r := range records {
		t := called(r)
		switch {
		case r.born.IsZero():
			k.empties++
			if !t.IsZero() {
				k.called++
			}
			continue
		case t.IsZero():
		case t.Before(r.born):
			k.premature++
		case t.Sub(r.born) <= foundWithin:
			k.found++
			k.delays = append(k.delays, t.Sub(r.born).Minutes())
		default:
			k.late++
		}
		k.litters++
	}
	return k
}

// noted are the times of a nest's events of that name that have no duration.
func (j *judged) noted(name alarm.Name) []time.Time {
	var all []time.Time
	for _, e := range j.events {
		if e.Name == name && e.State == alarm.Noted {
			all = append(all, e.Time)
		}
	}
	return all
}

func (j *judged) kindled() time.Time {
	if all := j.noted(alarm.Kindled); len(all) > 0 {
		return all[0]
	}
	return time.Time{}
}

// A visit is found by a detection so near its beginning, from so long after birth.
const (
	visitBefore = 25 * time.Minute
	visitAfter  = 50 * time.Minute
	visitsFrom  = 14 * time.Hour
)

// visitScore is how nursings were told.
type visitScore struct {
	nursings, detections, right int
	byDoe, byPerson             int // detections that were no nursing
}

func (v *visitScore) precision() ratio { return wilson(v.right, v.detections) }
func (v *visitScore) recall() ratio    { return wilson(v.right, v.nursings) }

// add scores the detections of one litter, one for each nursing, while its kits live.
func (v *visitScore) add(r *record, detections []time.Time) {
	if r.born.IsZero() {
		return
	}
	alive := span{r.born.Add(visitsFrom), r.end}
	if !r.died.IsZero() {
		alive.to = earliest(alive.to, r.died)
	}
	used := make([]bool, len(detections))
	near := func(i int, t time.Time) bool {
		return !used[i] && alive.holds(detections[i]) && !detections[i].Before(t.Add(-visitBefore)) && !detections[i].After(t.Add(visitAfter))
	}
	take := func(t time.Time) bool {
		for i := range detections {
			if near(i, t) {
				used[i] = true
				return true
			}
		}
		return false
	}
	for _, d := range detections {
		if alive.holds(d) {
			v.detections++
		}
	}
	for _, h := range r.happened {
		if h.Kind == simulated.Nursed && alive.holds(h.Time) {
			v.nursings++
			if take(h.Time) {
				v.right++
			}
		}
	}
	for _, confusion := range []struct {
		kind  simulated.HappeningKind
		count *int
	}{{simulated.Visited, &v.byDoe}, {simulated.LookedIn, &v.byPerson}} {
		for _, h := range r.happened {
			if h.Kind == confusion.kind && take(h.Time) {
				*confusion.count++
			}
		}
	}
}

// overdueScore is how litters without a nursing doe were found.
type overdueScore struct {
	starving, found int
	small           int       // starving litters too small to be watched
	delays          []float64 // h from the last nursing
	falseBy         []float64
	clean           []time.Duration
}

// overdueSlack is how long after the doe came back an alarm still tells of her absence.
const overdueSlack = 12 * time.Hour

func scoreOverdue(records []*record, raised func(*record) []time.Time) overdueScore {
	var o overdueScore
	for _, r := range records {
		if r.born.IsZero() {
			continue
		}
		excused := r.excused(nil)
		if !r.died.IsZero() {
			excused = append(excused, span{r.died, r.end})
		}
		starving := r.scenario == "starve"
		absent := span{r.fault.from, r.fault.to.Add(overdueSlack)}
		if starving {
			o.starving++
			if r.nest.Kits < brood.VisitKits {
				o.small++
			}
			excused = append(excused, absent)
		}
		n, found := 0.0, false
		for _, t := range raised(r) {
			switch {
			case starving && absent.holds(t):
				if !found {
					found = true
					o.delays = append(o.delays, t.Sub(r.fault.from).Hours())
				}
			case t.After(r.born) && !within(excused, t):
				n++
			}
		}
		if found {
			o.found++
		}
		o.falseBy, o.clean = append(o.falseBy, n), append(o.clean, total(span{r.born, r.end}.without(excused)))
	}
	return o
}

// gaps are the times at which no visit had been seen for so long; the first gap begins with the birth.
func gaps(r *record, visits []time.Time, longest time.Duration) []time.Time {
	last := r.born
	var all []time.Time
	for _, t := range append(visits, r.end) {
		if t.Before(r.born) {
			continue
		}
		if t.Sub(last) > longest {
			all = append(all, last.Add(longest))
		}
		last = t
	}
	return all
}

// fired is how one event answered one fault.
type fired struct {
	litters, in, outside int       // with the fault: fired inside its time, only outside it
	delays               []float64 // h
	sound, fires         int       // litters without any scenario, and those where it fired
}

// answers scores raised events against the time of a fault. wrong gives that time in a litter, or none; sound says which
// litters have nothing to fire at.
func answers(records []*record, g rig, raised func(alarm.Event) bool, wrong func(*record) span, sound func(*record) bool) fired {
	var f fired
	for _, r := range records {
		when := wrong(r)
		in, ever := false, false
		for _, e := range r.judged[g].events {
			if e.State != alarm.Raised || !raised(e) {
				continue
			}
			ever = true
			if when.holds(e.Time) && !in {
				in = true
				f.delays = append(f.delays, e.Time.Sub(when.from).Hours())
			}
		}
		switch {
		case when.length() > 0:
			f.litters++
			if in {
				f.in++
			} else if ever {
				f.outside++
			}
		case sound(r):
			f.sound++
			if ever {
				f.fires++
			}
		}
	}
	return f
}
