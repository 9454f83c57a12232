package nest

import (
	"time"

	"nestmon/thresholds/alarm"
)

// Numbers of probe health; ours, no source.
const (
	wrongRun   = 5                // untrue readings in a row make a probe fault
	goodAgain  = 10               // usable readings in a row end it
	oddFor     = 10 * time.Minute // readings that stay odd this long are a fault too
	nightCold  = 10.0             // °C outside: below it a nest nobody can see is urgent
	nightHot   = 28.0             // °C outside: above it too
	youngUntil = 20               // days: kits up to this age cannot be left unseen
	unseenFor  = 15 * time.Minute // silence that is urgent then: longer than a plug pulled for a moment, shorter than a nest takes to cool
)

// silence remembers since when probes of a nest have been at fault.
type silence struct{ faulty level }

// night reports whether the weather could harm kits that nobody sees: they are there or may be, and it is cold, hot or unknown outside.
func (w *Watch) night(n *Now) bool {
	if !w.mayHoldKits(youngUntil) {
		return false
	}
	out := w.site.air
	return !out.Fresh(n) || out.value < nightCold || out.value > nightHot
}

// probeSilent needs nothing: it is about what is missing.
func (w *Watch) probeSilent(n *Now) alarm.Condition {
	c := alarm.Condition{Unit: "h", HasValue: true, HasLimit: true}
	vital, clusters, clustersLost := false, 0, 0
	w.Places(func(role Role, ch *Channel) {
		lost := ch.known && ch.silentFor(n) > ch.stale
		if role == Cluster {
			clusters++
			if lost && ch.silentFor(n) > unseenFor {
				clustersLost++
			}
		}
		if !lost {
			return
		}
		c.Count++
		vital = vital || ch == w.air && ch.silentFor(n) > unseenFor
		if c.Count == 1 || ch == w.air {
			c.Probe, c.Value, c.Limit = ch.Probe, round2(ch.silentFor(n).Hours()), round2(ch.stale.Hours())
			c.Since = n.Wall.Add(-ch.silentFor(n))
		}
	})
	if c.Count == 0 {
		return alarm.Condition{}
	}
	c.Severity = alarm.Warning
	vital = vital || clusters > 0 && clusters == clustersLost
	if vital && w.night(n) {
		c.Severity, c.Why = alarm.Urgent, whyUnseen
	}
	return c
}

// probeFault needs readings that arrive and cannot be true.
func (w *Watch) probeFault(n *Now) alarm.Condition {
	var c alarm.Condition
	w.Places(func(_ Role, ch *Channel) {
		switch {
		case ch.wrong >= wrongRun:
			c.Why = string(ch.fault)
		case ch.suspects > 1 && n.Mono-ch.oddSince >= oddFor:
			c.Why = whyOdd
		default:
			return
		}
		c.Count++
		c.Probe = ch.Probe
	})
	w.lost.faulty.step(n, c.Count > 0)
	if c.Count > 0 {
		c.Severity, c.Since = alarm.Warning, w.lost.faulty.since
	}
	return c
}
