package nest

import (
	"time"

	"nestmon/thresholds/air"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// damp follows water and used air in the nest. What it can say ends where cold air holds too little water, and says so: see dampJudged.
// Wet bedding is not among it: 350 g of water spilled into a simulated nest moved a day's mean of its moisture by 0.1 g/m³ (median of 95
// pairs, nine in ten under 0.7), for bedding under kits is moist anyhow; the same dry nest differs by 0.4 from one day to the next (one in
// ten by 1.5).
type damp struct {
	moisture   moisture
	used       used
	humid      dwell
	tote       toteDamp
	condensing dwell
	dew, wall  float64   // °C, compared last; valid while condensing is on
	soaked     bool      // moisture or a leak was found since bedding was changed
	found      time.Time // when it was found
	wetFor     int       // min in which water came into the tote, since it was sealed
	wetAt      time.Time // when that was enough to seal it anew; zero before
	was        wetness   // before the last change of bedding
	cold, full veil
	judged     bool // dampJudged at the last minute
}

// Numbers of what ends a time in which humidity says nothing: air at the edge would end it many times an hour. Ours, no source.
const (
	dampAgainBelow = 96.0 // % RH
	dampAgainAbove = brood.DampJudgedAbove + brood.Deadband
	dampAgainAfter = 30 * time.Minute // clear of both, seen
)

// veil is air in which humidity says nothing: from the edge on, until it has been well clear of the edge for a while.
type veil struct {
	on    bool
	since time.Duration // when it was last not well clear
}

func (v *veil) step(n *Now, beyond, well bool) {
	v.on = v.on || beyond
	if !well {
		v.since = n.Mono
	}
	v.on = v.on && n.Mono-v.since < dampAgainAfter
}

func (d *damp) step(w *Watch, n *Now) {
	d.used.step(w, n)
	d.moisture.step(w, n)
	d.tote.step(w, n)
	w.condense(n)
	if wet := d.moisture.on || d.tote.leaks; wet && !d.soaked {
		d.soaked, d.found = true, n.Wall
	}
	d.leaking(w, n)
	seen := w.air.Fresh(n) && w.airRH.Fresh(n)
	d.cold.step(n, seen && w.air.value <= brood.DampJudgedAbove, seen && w.air.value > dampAgainAbove)
	d.full.step(n, seen && w.airRH.value >= brood.DampJudgedBelow, seen && w.airRH.value < dampAgainBelow)
	d.judged = w.dampJudged(n).Judged
}

// wetness is what a change of bedding takes away, and brings back when it is struck.
type wetness struct {
	At                time.Time // of the change
	Soaked, On, Leaks bool
	Found             time.Time
}

// done takes a chore that was done. What was found later than that stays.
func (d *damp) done(name alarm.Name, at time.Time) {
	if d.found.After(at) {
		return
	}
	d.was = wetness{at.Round(0).Truncate(markFine), d.soaked, d.moisture.on, d.tote.leaks, d.found}
	d.moisture.on, d.moisture.recent = false, [moistHours]hour{} // the hours before it say nothing of what lies there now
	if name != alarm.VentilationDue {
		d.soaked, d.tote.leaks, d.tote.full = false, false, dwell{}
	}
}

// undone takes that the chore of that time was not done.
func (d *damp) undone(at time.Time) {
	if was := d.was; was.At.Equal(at.Round(0).Truncate(markFine)) && !was.At.IsZero() {
		d.soaked, d.moisture.on, d.tote.leaks = d.soaked || was.Soaked, d.moisture.on || was.On, d.tote.leaks || was.Leaks
		if was.Soaked {
			d.found = was.Found
		}
	}
}

func (d *damp) newLitter() {
	d.soaked = false
	d.moisture.forget()
}

// restore takes what stood when the state was stored: what it was found by is not in the last day's readings, and no restart dries a nest.
func (d *damp) restore(st alarm.Standing) {
	switch {
	case st.Name == alarm.BeddingDue:
		d.soaked, d.found = true, st.Since
	case st.Name == alarm.ResealToteDue && st.HasValue:
		d.wetFor, d.wetAt = int(st.Value*minutesInHour), st.Since
	case st.Name == alarm.VentilationDue && st.Unit == "g/m3":
		d.moisture.on = true
	case st.Name == alarm.ToteWet && st.Severity == alarm.Warning:
		d.tote.leaks = true
	}
}

// dampSeen reports whether nest air is warm enough for its humidity to say something, and both are known.
func (w *Watch) dampSeen(n *Now) bool {
	return w.air.Fresh(n) && w.airRH.Fresh(n) && w.air.value > brood.DampJudgedAbove
}

// dampJudged says whether moisture is judged. It never says that bedding is dry.
func (w *Watch) dampJudged(n *Now) Judgement {
	j := Judgement{Danger: "damp"}
	switch {
	case w.airRH == nil:
		j.Why = "no humidity probe in nest air"
	case !w.air.Fresh(n) || !w.airRH.Fresh(n):
		j.Why = "no usable humidity of nest air"
	case w.damp.cold.on:
		j.Why = "nest air near " + both(brood.DampJudgedAbove) + " or under it holds too little water to tell; feel the bedding by hand"
	case w.damp.full.on && !w.damp.tote.leaks:
		j.Why = "nest air is saturated or nearly so, as it often is with kits: that it is wet says nothing of a leak or of the bedding; feel the bedding by hand"
	case w.damp.condensing.on:
		j.Judged, j.Why = true, w.condensingWords()
	default:
		j.Judged = true
	}
	return j
}

// wetToo tells of moist air beside a chill: wet and cold together are worse than either (Seltmann 2009, Functional Ecology). Where
// damp is not judged it keeps silent.
func (w *Watch) wetToo(name alarm.Name) string {
	if name != alarm.ClusterChill && name != alarm.NestCold {
		return ""
	}
	if !w.damp.judged || w.airRH.value <= brood.BoxWet {
		return ""
	}
	return " Nest air is damp too: wet and cold together are worse than either, so change wet bedding first."
}

// vapour is the water in nest air and outside, and what nest air could hold, g/m³; ok where that says something.
func (w *Watch) vapour(n *Now) (inside, outside, full float64, ok bool) {
	s := w.site
	if w.house.on || !w.dampSeen(n) || w.airRH.value >= brood.DampJudgedBelow || !s.air.Fresh(n) || !s.rh.Fresh(n) {
		return 0, 0, 0, false
	}
	return air.AbsoluteHumidity(w.air.value, w.airRH.value), air.AbsoluteHumidity(s.air.value, s.rh.value), air.AbsoluteHumidity(w.air.value, 100), true
}
