package phone

import (
	"fmt"
	"strings"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// standing tells how things stand. It says that all is well only where nothing is on, everything is judged and everybody would be called.
func (p page) standing(s thresholds.Snapshot) (title string, body []string) {
	var on, near, unseen, off, blind []string
	for _, st := range append(s.Alarms[:len(s.Alarms):len(s.Alarms)], s.Quiet...) {
		if st.Status == alarm.OutOfService || st.Status == alarm.Shelved {
			off = append(off, uncalled(st)+p.until(st))
		}
		switch {
		case st.On() && thresholds.Alarming(st.Event):
			on = append(on, p.line(st.Event))
		case st.Status == alarm.Returned:
			e := st.Event
			e.State, e.Time, e.HasValue = alarm.Cleared, st.Over, false
			unseen = append(unseen, p.line(e))
		}
	}
	for _, n := range s.Nests {
		if over, ok := p.overLimit(n); ok && n.Severity < alarm.Warning {
			near = append(near, over)
		}
		var why []string
		for _, j := range n.Judged {
			if !j.Judged {
				why = append(why, j.Danger+" ("+j.Why+")")
			}
		}
		if len(why) > 0 {
			blind = append(blind, "nest "+n.ID+": "+strings.Join(why, ", "))
		}
	}
	title = "All well: " + plural(len(s.Nests), "nest") + " watched, no alarm"
	if len(on)+len(near)+len(unseen)+len(off)+len(blind) > 0 || len(s.Nests) == 0 {
		title = "How things stand: " + plural(len(s.Nests), "nest")
		if len(on) == 0 {
			title += ", no alarm on"
		}
	}
	parts := []struct {
		title, head string
		rows        []string
	}{
		{", %d alarms on", "On now:", on},
		{", %d over its limit", "Over the limit, not for long enough to be an alarm yet:", near},
		{", %d over that nobody has acknowledged", "Over, and nobody has acknowledged it:", unseen},
		{", calls are off for %d", "Nobody is called for:", off},
		{", not everything judged in %d", "Not judged now:", blind},
	}
	body = []string{p.Site + " is watched. If this message stays away one day, look whether nestmon still runs."}
	for _, part := range parts {
		if n := len(part.rows); n > 0 {
			title += strings.Replace(fmt.Sprintf(part.title, n), ", 1 alarms", ", 1 alarm", 1)
			body = append(append(body, "", part.head), part.rows...)
		}
	}
	return title, body
}

// overLimit says that the air of a nest is hotter than it may be, before that has lasted long enough for an alarm.
func (p page) overLimit(n thresholds.NestState) (string, bool) {
	for _, v := range n.Values {
		if v.Role == thresholds.Air && v.Quantity == sensors.Temperature && v.Fresh && n.Limits.AirHot != nil && v.Value > *n.Limits.AirHot {
			return fmt.Sprintf("nest %s: air %s, limit %s", n.ID, p.units().write(v.Value, "C"), p.units().write(*n.Limits.AirHot, "C")), true
		}
	}
	return "", false
}

// uncalled names what nobody is called for.
func uncalled(st alarm.Standing) string {
	what := "all alarms"
	if st.Name != "" {
		what = st.Name.Plain()
	}
	if st.Nest == "" {
		return what
	}
	return "nest " + st.Nest + ": " + what
}

// until says how long nobody is called.
func (p page) until(st alarm.Standing) string {
	if st.Status == alarm.Shelved {
		return ", shelved until " + clockTime(st.Until, p.now, p.zone())
	}
	return ", out of service"
}
