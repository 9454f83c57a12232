package nest

import (
	"fmt"
	"strings"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

const chorePeriod = 10 * time.Minute

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
	c := litter.Clock{
		Days: w.plan, Litter: w.book, Proposed: w.book.Kindled.IsZero(), Kind: w.cfg.Kind, Season: w.site.season.Season(),
		BoxOut: w.boxOut(), Loc: w.loc,
	}
	c.Litter.Ended = time.Time{}
	if c.Litter.Kindled = w.kindled(); w.days.age < 0 {
		c.Litter.Kindled = time.Time{} // entered for a time to come, as a replay's book may
	}
	d.due = c.Chores(n.Wall)
	for i := range d.due {
		d.due[i].Mark(w.marks[d.due[i].Event])
	}
}

// duties visits every chore of the nest that has a date, from now on: the one place that says when something is due, for the alarms and
// for the agenda.
func (w *Watch) duties(n *Now, visit func(d litter.Due)) {
	list := w.due
	list.step(w, n)
	for _, d := range list.due {
		visit(d)
	}
	for _, f := range [...]func(*Now) (litter.Due, bool){w.bedding, w.inspection, w.comeBack, w.reseal, w.flies} {
		if d, ok := f(n); ok && w.plan.Wants(d.Event) {
			visit(d)
		}
	}
}

// byClock is the rule of a chore whose every word and date is the litter clock's.
func byClock(name alarm.Name) rule {
	return rule{name, func(w *Watch, n *Now) alarm.Condition {
		for _, d := range w.due.due {
			if d.Event == name && d.Severity(n.Wall) != alarm.None {
				return d.Condition(n.Wall)
			}
		}
		return alarm.Condition{}
	}}
}

// nextLook is when somebody is to look in next: what nobody looks after, no probe finds. It needs the litter book. An inspection is one that
// was seen or one that was entered; stray is before the kindling, when kits may lie outside the box.
func (w *Watch) nextLook() (due, from time.Time, stray, ok bool) {
	p := w.plan
	stray = w.has && w.days.age < 0 && !w.days.ended && w.days.bred >= 0 && w.days.bred <= p.Strays.To
	switch {
	case stray:
		from = litter.StartOf(w.book.Bred, p.Strays.From, w.loc)
	case w.hasKits():
		from = later(w.kindled(), w.book.Since) // who moved them saw them
	default:
		return due, from, false, false
	}
	from = later(w.visits.lookedAt(), from)
	return p.Inspect.Daytime(from.Add(p.Inspect.Every), w.loc), from, stray, true
}

func (w *Watch) inspection(n *Now) (d litter.Due, ok bool) {
	p := w.plan
	due, from, stray, ok := w.nextLook()
	if !ok {
		return d, false
	}
	if morning := p.Inspect.Daytime(n.Wall, w.loc); morning.After(n.Wall) && !w.slots[lookRule].On() {
		due = later(due, morning) // a look was struck at night
	}
	d = litter.Due{
		Event: alarm.InspectDue, From: due, Daily: true, Source: customOnly,
		Rule: fmt.Sprintf("no look seen or entered for %s; it begins by day and stands until somebody looks", lasting(p.Inspect.Every)),
	}
	if p.Inspect != litter.DefaultDays().Inspect {
		d.Source = configured + "inspect"
	}
	if stray {
		d.Text = "she is near her time. Look round the cage for kits born outside the box: no probe sees them, and they cool within minutes"
		d.Rule = fmt.Sprintf("days %d to %d after breeding: ", p.Strays.From, p.Strays.To) + d.Rule
		return d, true
	}
	d.Text = strings.TrimSuffix(litter.LookFor(w.days.age), ".")
	if since := n.Wall.Sub(from); since >= p.Inspect.Every {
		c := alarm.Condition{Value: since.Hours(), Limit: p.Inspect.Every.Hours()}
		d.Text = fmt.Sprintf("nobody is known to have looked in for %s. ", reached(c, wholeHours)) + d.Text
	}
	return d, true
}

// stands turns a chore, where there is one, into a condition.
func stands(n *Now, d litter.Due, ok bool) alarm.Condition {
	if !ok {
		return alarm.Condition{}
	}
	return d.Condition(n.Wall)
}

// configured is where a number comes from that is not as shipped.
const configured = "configuration, chores."

func (w *Watch) inspectDue(n *Now) alarm.Condition {
	due, from, _, ok := w.nextLook()
	if !ok || n.Wall.Before(due) {
		return alarm.Condition{}
	}
	if hour := n.Wall.In(w.loc).Hour(); hour < w.plan.Inspect.From || hour >= w.plan.Inspect.Until {
		return alarm.Condition{Hold: true} // nobody is asked to look at night, and nobody has looked because it is night
	}
	d, _ := w.inspection(n)
	c := d.Condition(n.Wall)
	c.Unit, c.Limit, c.HasValue, c.HasLimit = "h", w.plan.Inspect.Every.Hours(), true, true
	c.Value = round2(n.Wall.Sub(from).Hours())
	return c
}

// day is the local midnight that begins a day of the litter's life.
func (w *Watch) day(age int) time.Time { return litter.StartOf(w.kindled(), age, w.loc) }

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
