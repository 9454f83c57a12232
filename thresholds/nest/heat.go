package nest

import (
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// above compares a channel with a warning and a critical limit above it. count is that of the place's usable values.
func (l *levels) above(n *Now, c *Channel, count uint64, warn, crit brood.Limit) alarm.Condition {
	v := c.value
	l.warn.step(n, v > warn.C, v < warn.C-brood.Deadband, count, warn.Delay)
	l.crit.step(n, v > crit.C, v < crit.C-brood.Deadband, count, crit.Delay)
	return l.condition(c, warn.C, crit.C)
}

// below compares a channel with a warning and a critical limit below it.
func (l *levels) below(n *Now, c *Channel, warn, crit brood.Limit) alarm.Condition {
	v := c.value
	l.warn.step(n, v < warn.C, v > warn.C+brood.Deadband, c.count, warn.Delay)
	l.crit.step(n, v < crit.C, v > crit.C+brood.Deadband, c.count, crit.Delay)
	return l.condition(c, warn.C, crit.C)
}

func (l *levels) condition(c *Channel, warn, crit float64) alarm.Condition {
	out := alarm.Condition{Value: c.value, HasValue: true, HasLimit: true, Unit: c.Quantity.Unit(), Probe: c.Probe}
	switch {
	case l.crit.on:
		out.Severity, out.Limit, out.Since = alarm.Urgent, crit, l.crit.sinceWall
		if l.warn.on && l.warn.sinceWall.Before(out.Since) {
			out.Since = l.warn.sinceWall
		}
	case l.warn.on:
		out.Severity, out.Limit, out.Since = alarm.Warning, warn, l.warn.sinceWall
	default:
		out.Limit = warn
	}
	return out
}

// An emergency in nest air, beyond the table's critical limit and its delay. Core temperature passed 40 °C on simulated nests at nest air
// 1.4 °C or more above that limit; ours, no litter measured.
const (
	surelyOver = brood.Deadband // °C above the critical limit: no error of a probe and no peak
	peakOver   = 1.0            // °C above it, expected within the hour: it is on its way
	peakLasts  = 2 * time.Hour  // less than that above it, and not falling: long enough
)

// nestHeat is nest air against its limits.
type nestHeat struct {
	levels
	urgent bool // beyond the critical limit for its delay, and no peak that passes by itself
}

// nestHeat needs nest air, and nothing else.
func (w *Watch) nestHeat(n *Now) alarm.Condition {
	if w.air == nil {
		return alarm.Condition{}
	}
	if !w.air.Fresh(n) {
		w.heat.lost(n)
		return alarm.Condition{Hold: true}
	}
	lim := w.tables.Air(w.days.age, w.site.season.Season())
	c := w.heat.above(n, w.air, w.air.count, lim.HeatWarn, lim.HeatCritical)
	w.heat.urgent = w.heat.crit.on && (w.heat.urgent || w.emergency(n, lim.HeatCritical.C))
	if c.Severity == alarm.Urgent && !w.heat.urgent {
		c.Severity, c.Why = alarm.Warning, whyPeak
	}
	return w.asUsed(c)
}

// emergency reports whether nest air beyond its critical limit wakes people: always, but for the peak of a day that is known to level
// off just above it, or to be past.
func (w *Watch) emergency(n *Now, crit float64) bool {
	f, v := &w.forecast, w.air.value
	switch {
	case v > crit+surelyOver, f.seen < trendLeast || !f.known:
		return true
	case v <= crit || f.falling():
		return false
	}
	return f.soon > crit+peakOver || n.Mono-w.heat.crit.since >= peakLasts
}

// asUsed makes the heat of a nest that the keeper has declared empty a notice. A nest of which nothing is known stays urgent.
func (w *Watch) asUsed(c alarm.Condition) alarm.Condition {
	if w.days.ended {
		c.Severity = min(c.Severity, alarm.Notice)
	}
	return c
}

// clusterHeatRule needs a cluster probe, and nothing else. The warmer of two is judged.
func (w *Watch) clusterHeatRule(n *Now) alarm.Condition {
	if len(w.cluster) == 0 {
		return alarm.Condition{}
	}
	c := w.warmest(n)
	if c == nil {
		w.clusterHeat.lost(n)
		return alarm.Condition{Hold: true}
	}
	lim, ok := w.tables.Cluster(max(w.days.age, 0), w.site.season.Season())
	if !ok {
		return alarm.Condition{}
	}
	return w.asUsed(w.clusterHeat.above(n, c, w.clusterCount(), lim.HeatWarn, lim.HeatCritical))
}

// clusterCount counts the usable values of all cluster probes: which of them is the warmer may change.
func (w *Watch) clusterCount() (sum uint64) {
	for _, c := range w.cluster {
		sum += c.count
	}
	return sum
}

// warmest is the warmer fresh cluster probe, nil when none is fresh.
func (w *Watch) warmest(n *Now) *Channel {
	var best *Channel
	for _, c := range w.cluster {
		if c.Fresh(n) && (best == nil || c.value > best.value) {
			best = c
		}
	}
	return best
}

// doeHeat needs the doe's own air; the air outside is judged by the site.
func (w *Watch) doeHeat(n *Now) alarm.Condition {
	if w.cage == nil {
		return alarm.Condition{}
	}
	return w.site.does.judge(n, w.cage, w.cageRH, &w.doe)
}
