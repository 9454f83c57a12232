package nest

import (
	"math"
	"slices"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// Numbers of the chill score, found on simulated nests; ours, no litter measured.
const (
	positionShare = 0.16 // of the contrast: 0.64 cm of not knowing where the probe lies, over 4 cm in which warmth decays
	youngMargin   = 0.5  // margins for the probe's place in the first week
	waitingMargin = 0.8  // more while the doe is awaited
	olderMargin   = 1.0  // and later, when the pile wanders
	youngDays     = 7    // days
	pairMargin    = 0.5  // of the margin where two probes agree that it is colder: a pile that wanders off one comes nearer the other
	airFloor      = 0.12 // share of the contrast: a limit closer to nest air than this means nothing
	graceDrop     = 50   // min after a fast drop: a nursing doe uncovers the pile and it closes within about 30 min [Hudson & Distel 1982, abstract]
	graceVisit    = 40   // min after the doe or a person came
	clearMargin   = 1.5  // °C above the limit clears
	soonMinutes   = 30   // min to the limit at the present rate counts as nearly there
	checkMinutes  = 60   // min too cold without an answer asks for a look

	besideLeast   = 1.2  // K between probe and nest air: less is a probe in nest air,
	besideShare   = 0.06 // or this share of the contrast, whichever is more
	besideMinutes = 30   // min of it

	coolingLong  = 40   // min of the longer fit of the cooling
	coolingShort = 15   // min of the shorter one, which must agree
	coolingSure  = -5.0 // t statistic of the longer fit
	coolingStill = -2.0 // t statistic of the shorter one
	coolingQuick = 12.0 // min: a time constant under it is a probe pulled out or a nest opened
	coolingSlow  = 1500 // min: one over it is no cooling

	lostWarmth = 0.92 // share of the warmth held before: below it a fall is believed
	halfWarmth = 0.45 // share of it: below it no visit excuses the cold
	nearLimit  = 3.0  // °C over the limit: a pile that falls is not called well there
	scoreWell  = -2.0 // min a minute takes off while the pile is well,
	scoreClose = -0.5 // and while it is neither well nor too cold
	scoreCold  = 1.0  // min a minute adds while it is too cold, or soon will be
	scoreFalls = 1.5  // and while it is too cold and falling
	scoreCap   = 1.6  // of the delay: no more is gathered
)

// chill judges the core estimate against the chill limits of the brood's age by two scores, in minutes: each minute too cold
// adds one, and the alarm is on when the limit's delay has been gathered.
type chill struct {
	warn, crit score
	backstop   dwell
	beside     level   // the probe reads nest air
	steady     level   // on, but neither cooling nor cold through
	cold       level   // colder than the warning limit, whatever the reason
	limit      float64 // °C, the warning limit on the core after the margin
	critical   float64 // °C, the critical limit on the core after the margin
	tau        float64 // min, time constant of the cooling; valid while falling
	falling    bool
	judged     bool
	known      bool  // the estimate was there once
	unjudged   level // since the estimate was last there
}

type score struct {
	minutes float64
	since   time.Time
	on      bool
}

func (s *score) add(n *Now, v, full float64) {
	if s.minutes <= 0 && v > 0 {
		s.since = n.Wall
	}
	s.minutes = min(max(s.minutes+v, 0), scoreCap*full)
	if s.minutes >= full {
		s.on = true
	}
}

func (c *chill) reset() { *c = chill{backstop: c.backstop} }

func (c *chill) on() bool { return c.warn.on || c.crit.on }

func (c *chill) step(w *Watch, n *Now) {
	p := &w.pile
	if p.valid { // what was seen before a dropout is not over because of it
		c.beside.step(n, p.a.value < hotAir && p.y-p.a.value < max(besideLeast, besideShare*(setPoint-p.a.value)))
	}
	lim, young := w.tables.Cluster(max(w.days.age, 0), w.site.season.Season())
	c.judged = w.hasKits() && young && p.valid && !p.blind && p.a.value < hotAir+1
	c.unjudged.step(n, !c.judged)
	c.known = c.known || c.judged
	if !c.judged {
		if p.valid {
			c.cold = level{}
		}
		if w.days.ended || !w.hasKits() {
			c.warn, c.crit, c.cold, c.beside = score{}, score{}, level{}, level{}
		}
		return
	}
	a := p.a.value
	margin := olderMargin
	if w.days.age < youngDays {
		margin = youngMargin
	}
	waiting := 0.0
	if w.visits.expectedNow(n) { // kits uncover themselves before she comes
		waiting = waitingMargin
	}
	margin += waiting
	if w.bothProbes(n) {
		margin *= pairMargin
	}
	reach := setPoint - a
	c.limit = max(lim.ChillWarn.C-margin*positionShare*reach, a+airFloor*reach)
	c.critical = max(lim.ChillCritical.C-margin*positionShare*reach, a+airFloor*reach/2)
	c.fall(p)
	grace := p.sinceDrop < graceDrop || w.visits.recent(graceVisit)
	c.warn.add(n, c.rate(p, c.limit, grace), lim.ChillWarn.Delay.Minutes())
	c.crit.add(n, c.rate(p, c.critical, grace), lim.ChillCritical.Delay.Minutes())
	c.end(p, lim)
	c.settled(w, n)
	c.cold.step(n, p.core < lim.ChillWarn.C-waiting*positionShare*reach)
}

// fall fits the cooling and says whether the pile cools as a litter does, neither as a probe that was pulled out nor hardly at all.
func (c *chill) fall(p *pile) {
	tau, long, okLong := p.cooling(coolingLong)
	_, short, okShort := p.cooling(coolingShort)
	c.tau = tau
	c.falling = okLong && okShort && tau > coolingQuick && tau < coolingSlow && long < coolingSure && short < coolingStill
}

// end takes scores down when the pile is well again. What was called too cold is not called over before the estimate is back above
// the limit itself, the margin left out, while it still may be.
func (c *chill) end(p *pile, lim brood.ClusterLimits) {
	if c.falling {
		return
	}
	if c.on() && p.core > max(c.limit+clearMargin, lim.ChillWarn.C) {
		c.cold = level{} // what was too cold has been answered by the alarm that ends here
	}
	c.warn.end(p.core, c.limit, lim.ChillWarn.C)
	c.crit.end(p.core, c.critical, lim.ChillCritical.C)
}

func (s *score) end(core, limit, itself float64) {
	if core > limit+clearMargin && (!s.on || core > itself) {
		*s = score{}
	}
}

// A pile that a person has looked at, and that then neither cools further nor is cold through for hours, lies elsewhere than it did.
// Nobody's look, no acceptance: badly covered kits may hold half their warmth for as long, and are too cold.
const (
	steadyFor  = 8 * 60 // min
	steadyWarm = 0.35   // share of the warmth held
)

// settled learns the new place of a pile that has moved.
func (c *chill) settled(w *Watch, n *Now) {
	p, began := &w.pile, c.warn.since
	if c.crit.on && (!c.warn.on || c.crit.since.Before(began)) {
		began = c.crit.since
	}
	looked := w.visits.entered.After(began)
	if c.steady.step(n, c.on() && looked && !c.falling && p.w > steadyWarm) < steadyFor {
		return
	}
	p.gain, p.hours, p.minutes = min(max(p.w, gainLow), 1), 0, 0
	c.warn, c.crit, c.cold, c.steady = score{}, score{}, level{}, level{}
}

// bothProbes reports whether two cluster probes are being read.
func (w *Watch) bothProbes(n *Now) bool {
	return len(w.cluster) == 2 && w.cluster[0].Fresh(n) && w.cluster[1].Fresh(n)
}

// toLimit is how many minutes the core takes to the limit at its present rate of cooling, 0 below it.
func (c *chill) toLimit(p *pile, limit float64) float64 {
	if p.core <= limit {
		return 0
	}
	return c.tau * math.Log(max(p.core-p.a.value, 1)/max(limit-p.a.value, 1))
}

// rate is what one minute adds to the score of one limit.
func (c *chill) rate(p *pile, limit float64, grace bool) float64 {
	held := p.w / p.gain
	switch {
	case p.core > limit+clearMargin && !(c.falling && p.core < limit+nearLimit):
		return scoreWell
	case c.falling && held < lostWarmth && p.core < limit:
		return scoreFalls
	case c.falling && held < lostWarmth && c.toLimit(p, limit) < soonMinutes && !grace:
		return scoreCold
	case p.core < limit && (!grace || held < halfWarmth):
		return scoreCold
	case p.core < limit:
		return 0
	}
	return scoreClose
}

// clusterChill needs a cluster probe, nest air and a known kindling. Without them the back-stop alone remains.
func (w *Watch) clusterChill(n *Now) alarm.Condition {
	if len(w.cluster) == 0 {
		return alarm.Condition{}
	}
	c, p := &w.pile.chill, &w.pile
	stop := w.coldProbe(n)
	lim, _ := w.tables.Cluster(max(w.days.age, 0), w.site.season.Season())
	out := alarm.Condition{Value: round2(p.core), Limit: round2(c.limit), HasValue: true, HasLimit: true, Unit: "C"}
	if p.probe != nil {
		out.Probe = p.probe.Probe
	}
	switch {
	case c.crit.on:
		out.Severity, out.Since, out.Limit = alarm.Urgent, c.crit.since, round2(c.critical)
	case c.warn.on:
		out.Severity, out.Since = alarm.Warning, c.warn.since
		if lim.ChillWarn.Notice {
			out.Severity = alarm.Notice
		}
	case stop:
		out.Severity, out.Since, out.Why = alarm.Warning, c.backstop.sinceWall, whyBackstop
		out.Value, out.Limit = round2(p.y), brood.RawChill
	case w.has && (w.days.ended || w.days.age > brood.LastClusterDay):
	case !c.judged:
		out.Hold = true
	}
	return out
}

// coldProbe is the back-stop on the raw reading, whatever the estimate says, unless the probe is known to be out of the nest's warmth
// for good (blind).
func (w *Watch) coldProbe(n *Now) bool {
	p := &w.pile
	stop := &p.chill.backstop
	if p.probe == nil {
		stop.lost(n)
		return stop.on
	}
	applies := w.days.age >= 0 && w.days.age <= brood.RawChillLastDay && !p.blind || p.warmUnentered(w, n)
	return stop.step(n, applies && p.y < brood.RawChill, !applies && !w.hasKits() || p.y > brood.RawChill+brood.Deadband, w.clusterCount(), brood.RawChillDelay)
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
	case c.Severity == alarm.Urgent && len(w.cluster) > 0:
		c.Why = whyUnseen
	}
	return c
}

// clusterWarm reports whether the pile is judged and warm, or was until a dropout of minutes; chill is not on.
func (w *Watch) clusterWarm(n *Now) bool {
	ch := &w.pile.chill
	if ch.judged || ch.known && time.Duration(ch.unjudged.minutes)*time.Minute <= unseenFor {
		return true
	}
	return slices.ContainsFunc(w.cluster, func(c *Channel) bool { return c.undecided(n) })
}

// checkNest needs a cluster probe and nest air: it asks for a look where the probe and the brood cannot be told apart.
func (w *Watch) checkNest(n *Now) alarm.Condition {
	p, ch := &w.pile, &w.pile.chill
	c := alarm.Condition{Value: round2(p.y), HasValue: true, Unit: "C"}
	if p.probe != nil {
		c.Probe = p.probe.Probe
	}
	switch {
	case len(w.cluster) == 0 || !w.hasKits() || w.days.age > brood.RawChillLastDay+youngDays:
		return alarm.Condition{}
	case p.probe == nil || !p.valid:
		return alarm.Condition{Hold: true}
	case ch.beside.minutes >= besideMinutes:
		c.Severity, c.Since, c.Why = alarm.Notice, ch.beside.since, whyProbeInAir
	case p.blind:
		c.Severity, c.Since, c.Why = alarm.Notice, n.Wall, whyBlind
	case ch.on():
		return alarm.Condition{Hold: true} // a look is being asked for louder; nothing is over
	case ch.cold.minutes >= checkMinutes:
		c.Severity, c.Since, c.Why = alarm.Notice, ch.cold.since, whyTooCold
		if w.night() && w.bothProbes(n) && w.days.age <= brood.RawChillLastDay {
			c.Severity = alarm.Warning // two probes agree, and it is no weather to wait in
		}
	}
	if c.Severity != alarm.None && c.Why != whyTooCold && w.night() {
		c.Severity = alarm.Urgent
	}
	return c
}

func round2(v float64) float64 { return math.Round(v*100) / 100 }
