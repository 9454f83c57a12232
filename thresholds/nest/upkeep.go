package nest

import (
	"fmt"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

// leaking counts the minutes in which water came into a tote since it was sealed: a leak that was found, or wet air that no kits make.
func (d *damp) leaking(w *Watch, n *Now) {
	if water := d.tote.leaks || d.tote.wet.on && w.surelyEmpty(); !water {
		return
	}
	d.wetFor++
	if d.wetAt.IsZero() && d.wetFor >= w.plan.Reseal.Wet*hoursInDay*minutesInHour {
		d.wetAt = n.Wall
	}
}

// surelyEmpty reports whether the nest is known to hold no kits.
func (w *Watch) surelyEmpty() bool { return !w.mayHoldKits(longAgo) }

// reseal is when a tote's lid and pipe are sealed anew: years after they were, or when water has come in for long. Of a tote whose sealing
// nobody has entered only the water is known.
func (w *Watch) nextReseal() (due time.Time, byWater, ok bool) {
	if w.box() {
		return due, false, false
	}
	sealed, wet := w.marks.last(alarm.ResealToteDue), w.damp.wetAt
	if !w.cfg.Sealed.IsZero() {
		sealed = later(sealed, w.cfg.Sealed.Noon(w.loc))
	}
	if !sealed.IsZero() {
		due = litter.StartOf(sealed.AddDate(w.plan.Reseal.Years, 0, 0), 0, w.loc)
	}
	if wet.After(sealed) && (due.IsZero() || wet.Before(due)) {
		return wet, true, true
	}
	return due, false, !due.IsZero()
}

func (w *Watch) reseal(*Now) (d litter.Due, ok bool) {
	due, byWater, ok := w.nextReseal()
	if !ok {
		return d, false
	}
	p := w.plan.Reseal
	d = litter.Due{
		Event: alarm.ResealToteDue, From: due, Source: customOnly,
		Text: fmt.Sprintf("clean, dry and seal the lid and the pipe anew when the tote is empty, about every %d years; then mark it done", p.Years),
		Rule: fmt.Sprintf("%d years since it was sealed, or %d days in all with water coming in", p.Years, p.Wet),
	}
	if p != litter.DefaultDays().Reseal {
		d.Source = configured + "reseal"
	}
	if byWater {
		d.Text = fmt.Sprintf("look where water comes in, and seal the lid and the pipe anew when the tote is empty: it was wet for %d days in all since it was sealed, as no kits make it", w.wetDays())
		d.Source += "; the days: " + oursChosen
	}
	return d, true
}

func (w *Watch) wetDays() int { return w.damp.wetFor / (hoursInDay * minutesInHour) }

func (w *Watch) resealToteDue(n *Now) alarm.Condition {
	due, byWater, ok := w.nextReseal()
	if !ok || n.Wall.Before(due) {
		return alarm.Condition{}
	}
	d, _ := w.reseal(n)
	c := d.Condition(n.Wall)
	if byWater {
		c.Value, c.Limit, c.HasValue, c.HasLimit, c.Unit = round2(float64(w.damp.wetFor)/minutesInHour), float64(w.plan.Reseal.Wet*hoursInDay), true, true, "h"
	}
	return c
}

// spell is weather that lasts.
type spell struct {
	On    bool
	Since time.Time
}

func (s *spell) step(n *Now, begins, ends bool) {
	switch {
	case !s.On && begins:
		*s = spell{true, n.Wall}
	case s.On && ends:
		*s = spell{}
	}
}

func (s *spell) putBack(now time.Time) { s.Since = earlier(s.Since, now) }

// Deadbands of weather; ours, no source.
const (
	frostBack  = 2.0           // K over the limit, now and in the last night, end a frost
	warmBack   = 3.0           // K of the smoothed highest under the limit end warm days
	waterEarly = 4 * time.Hour // before its hour counts as water for it
)

// spells follows the weather that brings chores.
func (s *Site) spells(n *Now) {
	below, y := s.plan.Water.Below, &s.season
	if s.air.Fresh(n) {
		night := y.known && y.yesterday < below
		mild := !y.known || y.yesterday >= below+frostBack
		s.frost.step(n, s.air.value < below || night, s.air.value >= below+frostBack && mild && n.Wall.Sub(s.frost.Since) > hoursInDay*time.Hour)
	}
	if high := y.maxs; high.ok {
		s.flying.step(n, high.value >= s.plan.Flies.Damp, high.value < s.plan.Flies.Damp-warmBack)
		s.swarming.step(n, high.value >= s.plan.Flies.Above, high.value < s.plan.Flies.Above-warmBack)
	}
}

// watering is when the does' water is looked at next: twice a day while it freezes, by day alone.
func (s *Site) watering(n *Now) (due time.Time, ok bool) {
	if !s.frost.On {
		return due, false
	}
	due = s.hour(n.Wall, -1, s.plan.Water.Evening)
	done := s.marks.last(alarm.WaterDue)
	next := func() {
		if h := due.In(s.loc).Hour(); h >= s.plan.Water.Evening {
			due = s.hour(due, 1, s.plan.Water.Morning)
		} else {
			due = s.hour(due, 0, s.plan.Water.Evening)
		}
	}
	for due.Before(s.frost.Since) || !done.Before(due.Add(-waterEarly)) {
		next()
	}
	for last := due; ; last = due { // nobody catches up on water that was not given
		if next(); due.After(n.Wall) {
			return last, true
		}
	}
}

// hour is a full hour of the local day that lies days after that of t.
func (s *Site) hour(t time.Time, days, hour int) time.Time {
	y, m, d := t.In(s.loc).Date()
	return time.Date(y, m, d+days, hour, 0, 0, 0, s.loc)
}

func (s *Site) water(n *Now) (d litter.Due, ok bool) {
	due, ok := s.watering(n)
	if !ok {
		return d, false
	}
	p := s.plan.Water
	d = litter.Due{
		Event: alarm.WaterDue, From: due, Daily: true, Source: customOnly + "; the hours: ours",
		Text: fmt.Sprintf("Give the does unfrozen water, now and again at %d and %d o'clock while it freezes: a doe who cannot drink has no milk", p.Morning, p.Evening),
		Rule: fmt.Sprintf("air outside under %s, now or in the last night; over when both are %s warmer", both(p.Below), difference(frostBack)),
	}
	if p != litter.DefaultDays().Water {
		d.Source = configured + "water"
	}
	return d, true
}

func (s *Site) waterDue(n *Now) alarm.Condition {
	due, ok := s.watering(n)
	if !ok || n.Wall.Before(due) {
		return alarm.Condition{}
	}
	d, _ := s.water(n)
	return d.Condition(n.Wall)
}

// nextFlies is when does and kits are looked at next for fly strike, since warm days began or the last look.
func (s *Site) nextFlies(warm *spell, done time.Time) time.Time {
	due := s.plan.Inspect.Daytime(warm.Since, s.loc)
	if !done.Before(warm.Since) {
		due = s.hour(done, s.plan.Flies.Every, s.plan.Inspect.From)
	}
	return due
}

const flyLook = "look under the tails and at wet fur of does and kits for eggs and maggots, and take away soiled bedding and droppings: maggots hatch within a day. Call a veterinarian for one that has them"

func (s *Site) flies(*Now) (d litter.Due, ok bool) {
	if !s.swarming.On {
		return d, false
	}
	p := s.plan.Flies
	return litter.Due{
		Event: alarm.FlyStrikeDue, From: s.nextFlies(&s.swarming, s.marks.last(alarm.FlyStrikeDue)), Daily: p.Every == 1,
		Text:   "Warm days bring flies: " + flyLook,
		Rule:   fmt.Sprintf("each day's highest air outside, smoothed over %.0f days, from %s on until %s under it", seasonDays, both(p.Above), difference(warmBack)),
		Source: s.flySource(),
	}, true
}

func (s *Site) flySource() string {
	if s.plan.Flies != litter.DefaultDays().Flies {
		return configured + "flies"
	}
	return "judgement, no source"
}

func (s *Site) flyStrikeDue(n *Now) alarm.Condition {
	d, ok := s.flies(n)
	return stands(n, d, ok)
}

// flies is when a nest with damp bedding is looked at: sooner in the year than the others, and no more once all are.
func (w *Watch) flies(*Now) (d litter.Due, ok bool) {
	s := w.site
	if !s.flying.On || s.swarming.On || !w.damp.soaked || !w.hasKits() {
		return d, false
	}
	p := s.plan.Flies
	since := spell{true, later(s.flying.Since, w.damp.found)}
	return litter.Due{
		Event: alarm.FlyStrikeDue, From: s.nextFlies(&since, w.marks.last(alarm.FlyStrikeDue)), Daily: p.Every == 1,
		Text: "moisture was found in it, and damp bedding draws flies on days that are not yet hot: change it, and " + flyLook,
		Rule: fmt.Sprintf("moisture found since bedding was changed, and each day's highest air outside, smoothed over %.0f days, from %s on until %s under it",
			seasonDays, both(p.Damp), difference(warmBack)),
		Source: s.flySource(),
	}, true
}

func (w *Watch) flyStrikeDue(n *Now) alarm.Condition {
	d, ok := w.flies(n)
	return stands(n, d, ok)
}
