package calls

import (
	"time"

	"nestmon/thresholds/alarm"
)

// Gale is a storm that goes on.
type Gale struct {
	First alarm.Event    `json:"first"`
	Idle  time.Duration  `json:"idle"`  // since the last change
	Last  time.Duration  `json:"last"`  // since the last call
	Calls int            `json:"calls"` // so far
	Worst alarm.Severity `json:"worst"` // that was told
	Over  []alarm.Event  `json:"over,omitempty"`
	Knows []string       `json:"knows,omitempty"` // the contacts that were called, and those who wait for the end of what they were told before
}

// storm tells all that is new in one call, and repeats what nobody answers in the same. It ends when nothing has changed for a while.
func (d *Desk) storm(now Now, single []Call, standing []alarm.Standing) []Call {
	g := d.state.Storm
	for _, c := range single {
		if c.Why == Happened {
			d.hold(c.About[0])
			continue
		}
		g.Idle = 0
		if c.Why == Ended {
			g.Over, g.Knows = append(g.Over[:len(g.Over):len(g.Over)], c.About...), merge(g.Knows, c.To)
		}
	}
	call := Call{Why: Storm, About: d.unanswered(standing), Over: g.Over, First: g.First}
	worst, news, pressing := alarm.None, len(g.Over) > 0, false
	for _, e := range call.About {
		o := d.state.Open[key(e)]
		worst, news = max(worst, e.Severity), news || o.Untold
		pressing = pressing || e.Severity == alarm.Urgent && d.pressing(now, o)
	}
	switch {
	case pressing:
	case news && (g.Calls == 0 || worst > g.Worst || g.Last >= stormWindow):
	case !news && g.Idle >= stormWindow:
		d.state.Storm = nil
		return nil
	default:
		return nil
	}
	d.address(now, &call)
	gravest := worst
	for _, e := range g.Over {
		gravest = max(gravest, e.Severity)
	}
	g.Knows = merge(g.Knows, call.To)
	if call.To = d.wanting(g.Knows, gravest); len(call.To) == 0 { // nobody who was told is left in the plan
		call.To = d.first(gravest)
	}
	g.Worst, g.Last, g.Over = max(g.Worst, worst), 0, nil
	g.Calls++
	d.state.Recent = nil
	return []Call{call}
}

// earliest finds what came first of what began lately and nobody has acknowledged.
func (d *Desk) earliest(now Now, single []Call, standing []alarm.Standing) (first alarm.Event) {
	take := func(e alarm.Event) {
		if first.Name == "" || e.Since.Before(first.Since) {
			first = e
		}
	}
	for _, c := range single {
		take(c.About[0])
	}
	for _, e := range d.unanswered(standing) {
		if now.Wall.Sub(e.Time) < stormWindow {
			take(e)
		}
	}
	return first
}
