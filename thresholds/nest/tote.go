package nest

import (
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// Numbers of a leak: a tote that was not wet steps up to saturation after rain and stays there. Kits bring their own tote near saturation
// within two days (on simulated nests to 95-100 %, and it stays there), which is no leak and looks like none. Ours, no source; no
// simulated nest leaks, so how many leaks are found is not known.
const (
	leakPinned   = 98.0           // % RH
	leakBack     = 95.0           // % RH
	leakTime     = 12 * time.Hour // at it, as for a wet tote
	leakBefore   = 94.0           // % RH at most, day's mean before the step
	leakMinutes  = 24 * 60.0      // of that mean
	leakKnown    = 12 * 60        // minutes seen, at least
	leakFirstDay = 2              // age in days: before it the kits' own water steps up
	rainHumidity = 95.0           // % RH outside: rain, or as good as rain
	rainTime     = 2 * time.Hour  // at it
	rainLasts    = 24 * time.Hour // for water to find its way in
)

var leakWeight = perMinute(leakMinutes)

// toteDamp follows the humidity of a buried tote.
type toteDamp struct {
	wet    dwell
	full   dwell // at saturation
	usual  ewma  // % RH before it
	known  int   // minutes in usual
	stepUp bool  // it became full from air that was not wet
	leaks  bool  // it stays full after a step, and rain may have come in
	rain   dwell
	rainAt time.Duration // when it last rained; valid where rained
	rained bool
}

func (t *toteDamp) step(w *Watch, n *Now) {
	if w.box() || w.airRH == nil {
		return
	}
	t.weather(w.site.rh, n)
	if !w.dampSeen(n) {
		t.wet.lost(n)
		t.full.lost(n)
		return
	}
	rh, wasPast, wasOn := w.airRH.value, t.full.past, t.full.on
	t.wet.step(n, rh > brood.ToteWet, rh < brood.ToteWet-humidityDeadband, w.airRH.count, brood.ToteWetTime)
	t.full.step(n, rh >= leakPinned, rh < leakBack, w.airRH.count, leakTime)
	switch {
	case !t.full.past:
		t.usual.push(rh, leakWeight)
		t.known, t.leaks = t.known+1, false
	case !wasPast:
		t.stepUp = t.known >= leakKnown && t.usual.value <= leakBefore && (w.days.age < 0 || w.days.age >= leakFirstDay)
	case t.full.on && !wasOn:
		t.leaks = t.stepUp && (!w.site.rh.Fresh(n) || t.rained && t.rainAt >= t.full.since-rainLasts)
	}
}

// weather follows rain, as far as humidity outside tells of it.
func (t *toteDamp) weather(rh *Channel, n *Now) {
	if !rh.Fresh(n) {
		t.rain.lost(n)
		return
	}
	if t.rain.step(n, rh.value >= rainHumidity, rh.value < rainHumidity, rh.count, rainTime) {
		t.rained, t.rainAt = true, n.Mono
	}
}

// toteWet needs humidity and temperature in a buried tote, in air above 10 °C. Up to 95 % is what a burrow is like, and with kits it is
// often more, so then it is a notice, unless it came in a step after rain.
func (w *Watch) toteWet(n *Now) alarm.Condition {
	if w.box() || w.airRH == nil {
		return alarm.Condition{}
	}
	if !w.dampSeen(n) {
		return alarm.Condition{Hold: true}
	}
	d := &w.damp
	c := alarm.Condition{Value: w.airRH.value, Limit: brood.ToteWet, HasValue: true, HasLimit: true, Unit: "%", Probe: w.airRH.Probe}
	switch {
	case d.tote.leaks:
		c.Severity, c.Since, c.Why = alarm.Warning, d.tote.full.sinceWall, whyLeak
	case d.tote.wet.on && !w.hasKits():
		c.Severity, c.Since = alarm.Warning, d.tote.wet.sinceWall
	case d.tote.wet.on:
		c.Severity, c.Since, c.Why = alarm.Notice, d.tote.wet.sinceWall, whyKitsWet
	default:
		return alarm.Condition{}
	}
	return c
}
