package nest

import (
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

// Numbers of the inspections: at least twice a day (common practice, no source), by daylight.
const (
	inspectEvery  = 14 * time.Hour // longer than a night, shorter than a day: two looks a day never reach it
	inspectFrom   = 6              // o'clock, local
	inspectUntil  = 21             // o'clock, local
	strayFirstDay = 30             // days after breeding: from here kits may be born outside the box,
	strayLastDay  = 33             // where no probe sees them
	chorePeriod   = 10 * time.Minute
)

// dueList is what the litter clock asks for, worked out anew every ten minutes or when the book changes.
type dueList struct {
	until time.Time
	due   []litter.Due
}

func (d *dueList) step(w *Watch, n *Now) {
	if n.Wall.Before(d.until) {
		return
	}
	d.until, d.due = n.Wall.Truncate(chorePeriod).Add(chorePeriod), nil
	if !w.has || w.days.ended {
		return
	}
	l := w.book
	l.Ended = time.Time{}
	if l.Kindled = w.kindled(); w.days.age < 0 {
		l.Kindled = time.Time{} // entered for a time to come, as a replay's book may
	}
	d.due = litter.Chores(l, w.cfg.Kind, w.site.season.Season(), n.Wall, w.loc)
}

// chore turns a date of the litter clock into a condition, off once it was marked done.
func (w *Watch) chore(n *Now, name alarm.Name) alarm.Condition {
	for _, d := range w.due.due {
		if d.Event != name || n.Wall.Before(d.From) || !d.Until.IsZero() && !n.Wall.Before(d.Until) {
			continue
		}
		if !w.done[name].Before(d.From) {
			return alarm.Condition{}
		}
		c := alarm.Condition{Severity: alarm.Notice, Since: d.From, Why: d.Text, Rule: d.Rule, Source: d.Source}
		if !d.Late.IsZero() && !n.Wall.Before(d.Late) {
			c.Severity = alarm.Warning
		}
		return c
	}
	return alarm.Condition{}
}

func (w *Watch) boxDue(n *Now) alarm.Condition          { return w.chore(n, alarm.BoxDue) }
func (w *Watch) kindlingOverdue(n *Now) alarm.Condition { return w.chore(n, alarm.KindlingOverdue) }
func (w *Watch) turnBoxDue(n *Now) alarm.Condition      { return w.chore(n, alarm.TurnBoxDue) }
func (w *Watch) removeBoxDue(n *Now) alarm.Condition    { return w.chore(n, alarm.RemoveBoxDue) }
func (w *Watch) collectDue(n *Now) alarm.Condition      { return w.chore(n, alarm.CollectDue) }
func (w *Watch) weanDue(n *Now) alarm.Condition         { return w.chore(n, alarm.WeanDue) }

// inspectDue needs the litter book. An inspection is one that was seen or one that was entered.
func (w *Watch) inspectDue(n *Now) alarm.Condition {
	stray := w.has && w.days.age < 0 && !w.days.ended && w.days.bred >= strayFirstDay && w.days.bred <= strayLastDay
	if !w.hasKits() && !stray {
		return alarm.Condition{}
	}
	hour := n.Wall.In(w.loc).Hour()
	from := w.visits.lookedAt
	if stray {
		from = later(from, w.bredDay(strayFirstDay))
	} else {
		from = later(from, w.kindled())
	}
	if n.Wall.Sub(from) < inspectEvery {
		return alarm.Condition{}
	}
	if hour < inspectFrom || hour >= inspectUntil {
		return alarm.Condition{Hold: true} // nobody is asked to look at night, and nobody has looked because it is night
	}
	c := alarm.Condition{Severity: alarm.Notice, Since: from.Add(inspectEvery), Value: round2(n.Wall.Sub(from).Hours()), HasValue: true, Limit: inspectEvery.Hours(), HasLimit: true, Unit: "h"}
	if stray {
		c.Why = whyStray
	}
	return c
}

// day is the local midnight that begins a day of the litter's life.
func (w *Watch) day(age int) time.Time { return dayAfter(w.kindled(), age, w.loc) }

func (w *Watch) bredDay(day int) time.Time { return dayAfter(w.book.Bred, day, w.loc) }

func dayAfter(from time.Time, days int, loc *time.Location) time.Time {
	y, m, d := from.In(loc).Date()
	return time.Date(y, m, d+days, 0, 0, 0, 0, loc)
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
