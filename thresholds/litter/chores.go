package litter

import (
	"slices"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// Due is one chore: when, what, and why.
type Due struct {
	Event  alarm.Name
	From   time.Time // it is due from here
	Late   time.Time // from here it is a warning, before a notice; zero when it never is one
	Until  time.Time // it no longer makes sense from here; zero when only doing it ends it
	Early  time.Time // done from here on counts for it
	Done   time.Time // when it was done, zero while it was not or that is not known
	Daily  bool      // it comes again within a day
	Text   string    // what to do, and why
	Rule   string    // the days it goes by
	Source string    // where the days come from
}

// Severity is the chore's severity at an instant, none while it is not due.
func (d Due) Severity(now time.Time) alarm.Severity {
	switch {
	case now.Before(d.From), d.Over(now), !d.Done.IsZero():
		return alarm.None
	case !d.Late.IsZero() && !now.Before(d.Late):
		return alarm.Warning
	}
	return alarm.Notice
}

// Condition is the chore as its alarm's rule says it.
func (d Due) Condition(now time.Time) alarm.Condition {
	severity := d.Severity(now)
	if severity == alarm.None {
		return alarm.Condition{}
	}
	return alarm.Condition{Severity: severity, Since: d.From, Why: d.Text, Rule: d.Rule, Source: d.Source}
}

// Over reports whether the chore no longer makes sense.
func (d Due) Over(now time.Time) bool { return !d.Until.IsZero() && !now.Before(d.Until) }

// Mark takes when the chore was done, the newest time that counts.
func (d *Due) Mark(done []time.Time) {
	for _, at := range done {
		if !at.Before(d.Early) && at.After(d.Done) {
			d.Done = at
		}
	}
}

// Clock is one litter, and what its days depend on.
type Clock struct {
	Days     *Days
	Litter   Litter
	Proposed bool // its kindling was read from the probes, and nobody has confirmed it
	Kind     brood.Kind
	Season   brood.Season
	BoxOut   time.Time // when the nest box was taken out, zero while it is in
	Loc      *time.Location
}

// Chores lists what is due for the litter at now or comes later, the earliest first. Before kindling is entered it knows gestation only,
// after it the litter only; an ended litter has none. Whether a chore was done is not known here.
func (c *Clock) Chores(now time.Time) []Due {
	var out []Due
	for i := range table {
		r := &table[i]
		if !c.runs(r.clock) || !r.kinds.has(c.Kind) || !c.Days.Wants(r.name) || r.proposed && !c.Proposed {
			continue
		}
		d := Due{Event: r.name, Early: c.bred(0), Text: r.text(c), Rule: r.rule(c), Source: c.source(r)}
		if r.clock == ofLitter {
			d.Early = c.born(0)
		}
		r.window(c, &d)
		if came := c.Litter.Since; !came.IsZero() && !came.Before(d.Early) {
			d.Early = came.Add(1) // what was done in this nest before, on the same day too, was done to others
		}
		if !d.Over(now) && (d.Until.IsZero() || d.From.Before(d.Until)) {
			out = append(out, d)
		}
	}
	slices.SortStableFunc(out, func(a, b Due) int { return a.From.Compare(b.From) })
	return out
}

// runs reports whether the litter is in the part of its life that a clock counts.
func (c *Clock) runs(k clock) bool {
	kindled := !c.Litter.Kindled.IsZero()
	return c.Litter.Ended.IsZero() && (k == ofLitter && kindled || k == ofGestation && !kindled && !c.Litter.Bred.IsZero())
}

// source is where a row's days come from.
func (c *Clock) source(r *row) string {
	if shipped := DefaultDays(); r.set(c.Days) != r.set(&shipped) {
		return "configuration, chores." + r.key
	}
	return r.source
}

// bred and born are the local midnights that begin a day of gestation and of the litter.
func (c *Clock) bred(day int) time.Time { return StartOf(c.Litter.Bred, day, c.Loc) }
func (c *Clock) born(day int) time.Time { return StartOf(c.Litter.Kindled, day, c.Loc) }
