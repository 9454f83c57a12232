package calls

import (
	"slices"
	"time"

	"nestmon/thresholds/alarm"
)

// daily tells what waited, and how things stand, once on each local day.
func (d *Desk) daily(now Now, standing []alarm.Standing) (out []Call) {
	local := now.Wall.In(d.plan.zone())
	day, at, quiet := local.Format(time.DateOnly), clockOf(local), d.plan.quiet(now.Wall)
	if hour := d.state.Digest != day && at >= d.plan.digest(); !quiet && (hour || d.impatient()) {
		if hour {
			d.state.Digest = day // also where nothing waits: what comes later today waits for tomorrow
		}
		if len(d.state.Held) > 0 {
			out = append(out, d.digest(standing))
		}
	}
	if d.plan.AllWell == Never || d.state.AllWell == day {
		return out
	}
	switch first := d.state.AllWell == ""; {
	case first && at < d.plan.AllWell:
		d.state.AllWell = "before the first"
	case first: // started later on that day
		d.state.AllWell = day
	case at >= d.plan.AllWell:
		d.state.AllWell = day
		out = append(out, Call{Why: AllWell, To: d.first(alarm.Urgent)})
	}
	return out
}

// impatient reports whether something waits for no more than the end of the quiet hours, or of a storm.
func (d *Desk) impatient() bool {
	return d.state.Storm == nil && slices.ContainsFunc(d.state.Held, func(e alarm.Event) bool { return e.Severity > alarm.Notice && !e.Name.Chore() })
}

// digest tells all that waited. What still stands counts as told from here on.
func (d *Desk) digest(standing []alarm.Standing) Call {
	c := Call{Why: Waited, About: d.state.Held, Number: d.state.Lost}
	for _, e := range c.About {
		c.To = merge(c.To, d.first(e.Severity))
		if e.State == alarm.Raised && e.Severity >= alarm.Warning && alarm.Find(standing, e.Nest, e.Name).On() && d.state.Open[key(e)] == nil {
			d.state.Open[key(e)] = &Open{Told: e.Severity, Knows: d.first(e.Severity), Due: d.plan.Every()}
		}
	}
	d.state.Held, d.state.Lost = nil, 0
	return c
}

// hold keeps e for the digest, in place of what waits about the same alarm.
func (d *Desk) hold(e alarm.Event) {
	if e.State != alarm.Noted {
		d.release(e)
	}
	if len(d.state.Held) >= mostHeld {
		d.state.Held = slices.Delete(slices.Clone(d.state.Held), 0, 1)
		d.state.Lost++
	}
	d.state.Held = append(d.state.Held[:len(d.state.Held):len(d.state.Held)], e)
}

// release drops what waits about an alarm, and reports whether its beginning did.
func (d *Desk) release(e alarm.Event) (begun bool) {
	d.state.Held = slices.DeleteFunc(slices.Clone(d.state.Held), func(h alarm.Event) bool {
		same := h.State != alarm.Noted && key(h) == key(e)
		begun = begun || same && h.State == alarm.Raised
		return same
	})
	return begun
}
