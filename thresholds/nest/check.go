package nest

import (
	"fmt"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// checkNest needs a cluster probe and nest air: it asks for a look where the probe and the brood cannot be told apart.
func (w *Watch) checkNest(n *Now) alarm.Condition {
	p, ch := &w.pile, &w.pile.chill
	c := alarm.Condition{Value: round2(p.y), HasValue: true, Unit: "C"}
	if p.probe != nil {
		c.Probe = p.probe.Probe
	}
	switch {
	case len(w.cluster) == 0 || !w.hasKits() || w.days.age > lastChecked:
		return alarm.Condition{}
	case p.probe == nil || !p.valid, p.grace > 0 && !w.night():
		return alarm.Condition{Hold: true}
	case ch.beside.minutes >= besideMinutes:
		c.Severity, c.Since, c.Why = alarm.Notice, ch.beside.since, whyProbeInAir
	case p.blind, w.learned.health.mixed():
		c.Severity, c.Since, c.Why = alarm.Notice, n.Wall, whyBlind
	case ch.on():
		return alarm.Condition{Hold: true} // a look is being asked for louder; nothing is over
	case ch.moved.minutes > 0:
		c.Severity, c.Since, c.Why = alarm.Notice, ch.moved.since, whyMoved
		if w.night() {
			c.Severity = alarm.Warning // uncovered kits have no time in such weather
		}
	case p.far:
		c.Severity, c.Since, c.Why = alarm.Notice, n.Wall, whyFar
		if p.y < brood.RawChill && w.days.age <= brood.RawChillLastDay {
			c.Severity = alarm.Warning // what the back-stop would say of a probe that lay well
		}
	case ch.never.minutes >= checkMinutes:
		c.Severity, c.Since, c.Why = alarm.Notice, ch.never.since, whyTooCold
		if w.night() {
			c.Severity = alarm.Warning // it is no weather to wait in
		}
	case ch.low.minutes > 0:
		c.Severity, c.Since, c.Why = alarm.Notice, ch.low.since, whyTooCold
	}
	if (c.Why == whyProbeInAir || c.Why == whyBlind) && w.night() {
		c.Severity = alarm.Urgent
	}
	return c
}

// littleWarmth says what was measured of a pile that hardly shows, and over which time. Hours are counted from before the birth on, where it is not
// long ago.
func (w *Watch) littleWarmth(c alarm.Condition, share float64) string {
	hours := farHours
	for i := range w.cluster {
		hours = max(hours, w.pile.trails[i].hours)
	}
	text := fmt.Sprintf("cluster probe %s, nest air %s; in most of the last %d hours under %.0f %% of a warm pile's warmth over nest air", both(c.Value), both(w.air.value), hours, 100*share)
	if born := w.kindled(); !born.IsZero() && c.Since.Sub(born) < farHours*time.Hour {
		text += ", some of them before the birth"
	}
	return text
}

// lastChecked is the day up to which a probe that lies badly is worth a look: a week beyond the back-stop's; ours, no source.
const lastChecked = brood.RawChillLastDay + 7

// moved reports whether every cluster probe that answers has lost warmth in one step that has not come back, and nobody has looked since.
func (w *Watch) moved(n *Now) bool {
	answers := false
	for i, c := range w.cluster {
		if !c.Fresh(n) {
			continue
		}
		if answers = true; !w.pile.trails[i].moved {
			return false
		}
	}
	return answers
}
