package nest

import (
	"time"

	"nestmon/thresholds/alarm"
)

// Numbers of probe health; ours, no source.
const (
	wrongRun   = 5                // untrue readings in a row make a probe fault
	goodAgain  = 10               // usable readings in a row end it
	backFor    = 10               // min without a dropout end a silence: a loose plug is one alarm, not one for each wobble
	oddFor     = 10 * time.Minute // readings that stay odd this long are a fault too
	nightCold  = 10.0             // °C outside: below it a nest nobody can see is urgent
	nightHot   = 28.0             // °C outside: above it too
	nightBack  = 1.0              // °C towards mild weather before it counts as such again: two thermometers' errors
	youngUntil = 20               // days: kits up to this age cannot be left unseen
	unseenFor  = 15 * time.Minute // silence that is urgent then: longer than a plug pulled for a moment, shorter than a nest takes to cool
)

// silence remembers since when probes of one place have been silent, at fault, or well again.
type silence struct {
	faulty level
	frays  level
	spell  level // a probe is silent, or was so a moment ago
	back   level // nothing is silent any more
	long   bool  // the spell has lasted long enough to warn of it
}

// step takes how many probes are silent and the longest of their silences. A probe that comes back within minutes is a notice; one
// that stays away, or comes and goes for as long, is a warning for the rest of the spell.
func (l *silence) step(n *Now, count int, longest time.Duration) alarm.Severity {
	over := l.back.step(n, count == 0) > backFor
	minutes := l.spell.step(n, count > 0 || l.spell.minutes > 0 && !over)
	switch {
	case over:
		l.long = false
	case count > 0:
		l.long = l.long || longest > unseenFor || time.Duration(minutes)*time.Minute > unseenFor
	}
	switch {
	case count == 0:
		return alarm.None
	case l.long:
		return alarm.Warning
	}
	return alarm.Notice
}

// held reports whether a silence that has just ended is not over yet.
func (l *silence) held() bool { return l.back.minutes <= backFor }

// restore takes the alarm that stood: what was a warning is none the less one because the daemon began anew.
func (l *silence) restore(slot alarm.Slot) {
	l.back, l.long = level{}, slot.On() && slot.Standing().Severity > alarm.Notice
}

// night reports whether the weather could harm kits that nobody sees: they are there or may be, and it is cold, hot or unknown outside.
// A nest that is indoors is out of it.
func (w *Watch) night() bool { return w.site.harsh && !w.house.on && w.mayHoldKits(youngUntil) }

// judgeHarsh says whether the air outside is too cold or too hot for kits that nobody sees, or unknown. It has a deadband, for
// every step into it wakes somebody.
func (s *Site) judgeHarsh(n *Now) {
	if s.air != nil && s.air.undecided(n) {
		return // the weather has not changed because the daemon was off
	}
	if s.air == nil || !s.air.seen || s.air.silentFor(n) > max(unseenFor, s.air.stale) {
		s.harsh = true
		return
	}
	v, back := s.air.value, 0.0
	if s.harsh {
		back = nightBack
	}
	s.harsh = v < nightCold+back || v > nightHot-back
}

// probeSilent needs nothing: it is about what is missing.
func (w *Watch) probeSilent(n *Now) alarm.Condition {
	c := alarm.Condition{Unit: "h", HasValue: true, HasLimit: true}
	vital, undecided, clusters, clustersLost, longest, cut := false, false, 0, 0, time.Duration(0), 0
	w.Places(func(role Role, ch *Channel) {
		lost := ch.silentFor(n) > ch.stale
		undecided = undecided || ch.undecided(n)
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
		if ch.cut {
			cut++
		}
		longest = max(longest, ch.silentFor(n))
		vital = vital || ch == w.air && ch.silentFor(n) > unseenFor
		if c.Count == 1 || ch == w.air {
			c.Probe, c.Value, c.Limit = ch.Probe, round2(ch.silentFor(n).Hours()), ch.stale.Hours()
			c.Since = n.Wall.Add(-ch.silentFor(n))
		}
	})
	if c.Severity = w.lost.step(n, c.Count, longest); c.Count == 0 {
		return alarm.Condition{Hold: undecided || w.lost.held(), Sure: true}
	}
	vital = vital || clusters > 0 && clusters == clustersLost
	if vital && w.night() {
		c.Severity, c.Why = alarm.Urgent, whyUnseen
		return c
	}
	c.Hold = cut == c.Count // a dead line is one alarm, not one for each nest on it
	return c
}

// probeFault needs readings that arrive and cannot be true, or a night of probes that contradict each other.
func (w *Watch) probeFault(n *Now) alarm.Condition {
	c := faulty(n, &w.lost.faulty, func(visit func(*Channel)) {
		w.Places(func(_ Role, ch *Channel) { visit(ch) })
	})
	w.learned.health.faults(w, n, &c)
	w.doubts(n, &c)
	if c.Count > 0 {
		c.Hold = false
	}
	return c
}

// faulty judges whether any of these channels brings what cannot be true.
func faulty(n *Now, lasts *level, channels func(visit func(*Channel))) alarm.Condition {
	var c alarm.Condition
	undecided := false
	channels(func(ch *Channel) {
		undecided = undecided || ch.restarted || ch.cut
		switch {
		case ch.cut: // told of its line
			return
		case ch.wrong >= wrongRun:
			c.Why = string(ch.fault)
		case ch.odd(n):
			c.Why = whyOdd
		default:
			return
		}
		c.Count++
		c.Probe, c.Severity = ch.Probe, alarm.Warning
	})
	lasts.step(n, c.Count > 0)
	c.Since = lasts.since
	c.Hold = c.Count == 0 && undecided
	return c
}
