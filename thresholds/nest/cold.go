package nest

import (
	"slices"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// coldProbe is the back-stop on the raw reading, whatever the estimate says, unless the probe is known to lie out of the pile.
func (w *Watch) coldProbe(n *Now) bool {
	p := &w.pile
	stop := &p.chill.backstop
	if p.probe == nil {
		stop.lost(n)
		return stop.on
	}
	lies := p.far && (!stop.on || p.chill.moved.minutes == 0) // a probe that lay well, and lost its warmth in one step, is not excused by that
	applies := w.days.age >= 0 && w.days.age <= brood.RawChillLastDay && !lies || p.warmUnentered(w, n)
	return stop.step(n, applies && p.y < brood.RawChill, !applies || p.y > brood.RawChill+brood.Deadband, w.clusterCount(), brood.RawChillDelay)
}

// nestCold needs nest air and known kits. A healthy warm cluster makes it advice; without a cluster probe it pages at critical only.
func (w *Watch) nestCold(n *Now) alarm.Condition {
	if w.air == nil || !w.hasKits() {
		w.cold = levels{}
		return alarm.Condition{}
	}
	if !w.air.Fresh(n) {
		w.cold.lost(n)
		return alarm.Condition{Hold: true}
	}
	lim := w.tables.Air(w.days.age, w.site.season.Season())
	c := w.cold.below(n, w.air, lim.ColdWarn, lim.ColdCritical)
	ch := &w.pile.chill
	switch {
	case c.Severity == alarm.None || ch.on():
	case w.clusterWarm(n):
		c.Severity, c.Why = alarm.Notice, whyClusterWarm
	case ch.moved.minutes > 0:
		c.Severity = min(c.Severity, alarm.Warning) // the pile may be well where it lies now
		fallthrough
	case c.Severity == alarm.Urgent && len(w.cluster) > 0:
		c.Why = whyUnseen
	}
	return c
}

// clusterWarm reports whether the pile is judged, or was until a dropout of minutes or its box was turned, and nothing speaks against its being warm.
func (w *Watch) clusterWarm(n *Now) bool {
	ch := &w.pile.chill
	doubt := ch.never.minutes > 0 || ch.low.minutes > 0 || ch.moved.minutes > 0 || ch.beside.minutes >= besideMinutes
	if ch.judged || ch.known && (time.Duration(ch.unjudged.minutes)*time.Minute <= unseenFor || w.pile.madeWarm()) {
		return !doubt
	}
	return slices.ContainsFunc(w.cluster, func(c *Channel) bool { return c.undecided(n) })
}
