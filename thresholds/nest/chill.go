package nest

import (
	"fmt"
	"math"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// Numbers of chill. The margins are parts of the logarithm of warmth: 0.16 are 0.64 cm of not knowing where the probe lies, over the 4 cm
// in which warmth decays. Found on simulated nests; ours, no litter measured.
const (
	normalCore   = 37.3 // °C of a core before it cools
	stillFalling = 0.03 // of the warmth in half an hour: less is a pile that lies still,
	afterVisit   = 0.06 // and as much in the hours after a visit that left the pile less warm
	halfHour     = 30 / blockMinutes
	pastBlocks   = 3   // blocks past limit and margin while it still falls
	backShare    = 0.8 // of the fall that makes the limit: less is well again
	backSlack    = 0.1 // of the warmth beyond the limit that the other reckoning may still miss: the pile wanders
	belowShare   = 0.9 // of it: less, and the time under the limit begins anew
	pairNoise    = 0.6 // of one probe's noise is left where two are read: a pile that wanders off one comes nearer the other
	besidePile   = 1.0 // of the warmth that a blind probe holds less than the other: it lies beside the pile and shows no fall
	usualDelay   = 60  // min by which the day's warmth must be missed
	graceVisit   = 40  // min after the doe or a person came: a nursed pile closes within about 30 min [Hudson & Distel 1982, abstract]

	besideLeast   = 1.2  // K between probe and nest air: less is a probe in nest air,
	besideShare   = 0.06 // or this share of the contrast, whichever is more
	besideMinutes = 30   // min of it
	checkMinutes  = 120  // min too cold without an answer asks for a look

	coolingLong  = 40   // min of the longer fit of the cooling
	coolingShort = 15   // min of the shorter one, which must agree
	coolingSure  = -5.0 // t statistic of the longer fit
	coolingStill = -2.0 // t statistic of the shorter one
	coolingQuick = 12.0 // min: a time constant under it is a probe pulled out or a nest opened
	coolingSlow  = 1500 // min: one over it is no cooling
)

// margin is how much more warmth than the limit allows must be lost, because nobody knows exactly where the probe lies.
type margin struct {
	recent float64 // beside the last hours, and at least
	noise  float64 // times what this nest's warmth wanders in an hour;
	usual  float64 // beside the day, in which a pile wanders farther
}

// margins holds those of the warning and of the critical limit, for one probe and for two.
var margins = [2][MostClusterProbes]margin{
	{{0.06, 1.5, 0.4}, {0.03, 1.2, 0.4}},
	{{0.20, 4, 0.5}, {0.10, 2.4, 0.5}},
}

// evidence is what the probes say in one block, the mean of those that can be compared.
type evidence struct {
	fall  float64 // of the warmth, since the best of the last hours; valid with falls
	quick float64 // of it in the last half hour
	lack  float64 // of the warmth, beside the day's usual; valid with lacks
	noise float64
	falls int // probes compared
	lacks int
	still float64 // what quick must pass
}

// chill judges the warmth that a pile has lost against the chill limits of the brood's age. A fall is believed while it goes on as a pile
// cools, neither in one step, as a probe or a pile that moves, nor in a moment, as a visit.
type chill struct {
	warn, crit ruling
	backstop   dwell
	beside     level   // the probe reads nest air
	steady     level   // on, but neither cooling nor cold through
	never      level   // colder from the beginning than a well placed probe can be
	moved      level   // the warmth has gone in one step
	low        level   // under the limit itself, but not past the margin
	core       float64 // °C, estimate behind the ruling
	limit      float64 // °C, the warning limit on the core after the margin
	critical   float64 // °C, the critical limit on the core after the margin
	tau        float64 // min, time constant of the cooling; valid while falling
	falling    bool
	judged     bool
	known      bool  // the estimate was there once
	restored   bool  // a chill stands that was on before this program began
	unjudged   level // since the estimate was last there
}

// ruling is one limit.
type ruling struct {
	below  int // min under the limit itself
	past   int // blocks past its margin, still falling
	lack   int // min past its margin beside the day's usual
	since  time.Time
	on     bool
	byFall bool
}

func (c *chill) reset() { *c = chill{backstop: c.backstop, restored: c.restored} }

func (c *chill) on() bool { return c.warn.on || c.crit.on }

func (c *chill) step(w *Watch, n *Now) {
	p := &w.pile
	if p.valid { // what was seen before a dropout is not over because of it
		c.beside.step(n, p.a.value < hotAir && p.y-p.a.value < max(besideLeast, besideShare*(setPoint-p.a.value)))
	}
	lim, young := w.tables.Cluster(max(w.days.age, 0), w.site.season.Season())
	c.judged = w.hasKits() && young && p.valid && !p.blind && p.a.value < hotAir+1 && !w.learned.health.mixed() && w.compared(n)
	c.unjudged.step(n, !c.judged)
	c.known = c.known || c.judged
	if w.days.ended || !w.hasKits() {
		c.warn, c.crit, c.beside, c.never, c.low = ruling{}, ruling{}, level{}, level{}, level{}
	}
	if c.moved.step(n, w.moved(n)) > 0 && w.visits.lookedAt().After(c.moved.since) {
		for i := range p.trails {
			p.trails[i].moved = false
		}
	}
	c.cooling(p)
	if c.judged && p.closed {
		c.judge(w, n, lim)
	}
	c.neverWarm(w, n, lim)
}

// compared reports whether a fresh probe's trail holds something to compare with.
func (w *Watch) compared(n *Now) bool {
	for i, c := range w.cluster {
		if t := &w.pile.trails[i]; c.Fresh(n) && (t.hasRecent || t.hasUsual) {
			return true
		}
	}
	return false
}

func (w *Watch) evidence(n *Now) evidence {
	e := evidence{still: stillFalling}
	best, seen := math.Inf(-1), true
	for i, c := range w.cluster {
		if t := &w.pile.trails[i]; c.Fresh(n) {
			best = max(best, t.place())
		}
	}
	for i, c := range w.cluster {
		t := &w.pile.trails[i]
		now := t.back(0)
		if !c.Fresh(n) || math.IsNaN(now) || !t.settled() || t.place() < min(best-besidePile, math.Log(blindBelow)) {
			continue
		}
		seen = seen && t.watched()
		if t.visited && t.sinceStep < recentTo {
			e.still = afterVisit
		}
		if t.hasRecent {
			e.falls++
			e.fall += t.recent - now
			e.noise += t.noise
			e.quick += t.quick()
		}
		if t.hasUsual {
			e.lacks++
			e.lack += t.usual - now
		}
	}
	if !seen {
		e.still = math.Inf(-1)
	}
	if k := float64(e.falls); k > 0 {
		e.fall, e.quick, e.noise = e.fall/k, e.quick/k, e.noise/k
	}
	if e.falls == MostClusterProbes {
		e.noise *= pairNoise
	}
	if k := float64(e.lacks); k > 0 {
		e.lack /= k
	}
	return e
}

// loss is the part of its warmth that a normal core loses on the way to a temperature, in nest air a, all °C.
func loss(to, a float64) float64 { return math.Log((normalCore - a) / max(to-a, 1)) }

// after is what is left of a core at from, °C, after such a loss.
func after(from, a, loss float64) float64 { return a + (from-a)*math.Exp(-loss) }

func (c *chill) judge(w *Watch, n *Now, lim brood.ClusterLimits) {
	e, a := w.evidence(n), w.pile.a.value
	grace := w.visits.recent(graceVisit)
	warned := c.warn.judge(n, &e, lim.ChillWarn, a, &margins[0], grace)
	critical := c.crit.judge(n, &e, lim.ChillCritical, a, &margins[1], grace)
	c.limit, c.critical = after(lim.ChillWarn.C, a, warned), after(lim.ChillCritical.C, a, critical)
	lost := e.lack
	if v := c.deciding(); v.byFall && e.falls > 0 || e.lacks == 0 {
		lost = e.fall
	}
	if e.falls+e.lacks > 0 {
		c.core = min(after(normalCore, a, lost), setPoint)
	}
	c.unanswered(n, &e, loss(lim.ChillWarn.C, a))
	c.settle(w, n)
}

// unanswered follows a pile that has been under its limit for long, by too little or too still to be called a chill: it may have moved.
func (c *chill) unanswered(n *Now, e *evidence, need float64) {
	lost, known := e.lost()
	low := c.warn.below >= checkMinutes || c.low.minutes > 0 && (!known || lost > backShare*need)
	c.low.step(n, low && !c.on())
}

// deciding is the ruling that an alarm rests on.
func (c *chill) deciding() *ruling {
	if c.crit.on {
		return &c.crit
	}
	return &c.warn
}

// judge takes one block and returns the margin.
func (v *ruling) judge(n *Now, e *evidence, lim brood.Limit, a float64, allowed *[MostClusterProbes]margin, grace bool) float64 {
	need := loss(lim.C, a)
	m := allowed[max(e.falls, 1)-1]
	short := max(m.recent, m.noise*e.noise)
	if e.falls > 0 {
		v.fall(n, e, need, short)
	}
	if e.lacks > 0 {
		v.miss(n, e.lack-need-allowed[e.lacks-1].usual, grace)
	}
	switch {
	case v.on:
	case v.past >= pastBlocks && v.below >= int(lim.Delay.Minutes()):
		v.on, v.byFall = true, true
	case v.lack >= usualDelay:
		v.on, v.byFall = true, false
	}
	if v.on && !v.byFall {
		short = allowed[max(e.lacks, 1)-1].usual
	}
	if v.on && v.over(e, need) {
		*v = ruling{}
	}
	return short
}

func (v *ruling) fall(n *Now, e *evidence, need, short float64) {
	switch {
	case e.fall > need:
		if v.below == 0 && v.lack == 0 {
			v.since = n.Wall
		}
		v.below += blockMinutes
	case e.fall < belowShare*need:
		v.below = 0
	}
	if e.fall > need+short && e.quick > e.still {
		v.past++
	} else {
		v.past = 0
	}
}

func (v *ruling) miss(n *Now, beyond float64, grace bool) {
	switch {
	case beyond <= 0:
		v.lack = 0
	case !grace:
		if v.below == 0 && v.lack == 0 {
			v.since = n.Wall
		}
		v.lack += blockMinutes
	}
}

// lost is the warmth that is missing, by whatever says more.
func (e *evidence) lost() (lost float64, known bool) {
	switch {
	case e.falls > 0 && e.lacks > 0:
		return max(e.fall, e.lack), true
	case e.falls > 0:
		return e.fall, true
	}
	return e.lack, e.lacks > 0
}

// over reports whether what the ruling rests on is well again, and the other does not speak clearly against it.
func (v *ruling) over(e *evidence, need float64) bool {
	mine, other, known := e.fall, e.lack, e.falls > 0
	if !v.byFall && e.lacks > 0 || e.falls == 0 {
		mine, other, known = e.lack, e.fall, e.lacks > 0
	}
	if e.falls == 0 || e.lacks == 0 {
		other = mine
	}
	return known && mine < backShare*need && other < need+backSlack
}

// cooling fits the cooling and says whether the pile cools as a litter does, neither as a probe that was pulled out nor hardly at all.
func (c *chill) cooling(p *pile) {
	tau, long, okLong := p.cooling(coolingLong)
	_, short, okShort := p.cooling(coolingShort)
	c.tau = tau
	c.falling = okLong && okShort && tau > coolingQuick && tau < coolingSlow && long < coolingSure && short < coolingStill
}

// toLimit is how many minutes the core takes to the limit at its present rate of cooling, 0 below it.
func (c *chill) toLimit(p *pile, limit float64) float64 {
	if p.core <= limit {
		return 0
	}
	return c.tau * math.Log(max(p.core-p.a.value, 1)/max(limit-p.a.value, 1))
}

// coolingOn says when a pile that cools will be at its urgent limit.
func (w *Watch) coolingOn(c alarm.Condition) string {
	ch := &w.pile.chill
	lim, _ := w.tables.Cluster(max(w.days.age, 0), w.site.season.Season())
	minutes := ch.toLimit(&w.pile, lim.ChillCritical.C)
	if !ch.falling || c.Severity == alarm.Urgent || minutes < 1 || minutes > farAhead {
		return ""
	}
	return fmt.Sprintf("; at this rate %s, which is urgent, in about %.0f min", both(lim.ChillCritical.C), minutes)
}

// farAhead is as far, in min, as a rate of cooling is believed to hold; ours, no source.
const farAhead = 180

// A pile that a person has looked at, and that then neither cools further nor is cold through for hours, lies elsewhere than it did.
// Nobody's look, no acceptance: badly covered kits may hold half their warmth for as long, and are too cold.
const (
	steadyFor  = 8 * 60 // min
	steadyWarm = 0.35   // share of the warmth held
)

// settle learns the new place of a pile that has moved.
func (c *chill) settle(w *Watch, n *Now) {
	p, began := &w.pile, c.warn.since
	if c.crit.on && (!c.warn.on || c.crit.since.Before(began)) {
		began = c.crit.since
	}
	looked := w.visits.entered.After(began)
	if blockMinutes*c.steady.step(n, c.on() && looked && !c.falling && p.w > steadyWarm) < steadyFor {
		return
	}
	for i := range p.trails {
		p.trails[i].anew()
	}
	c.warn, c.crit, c.steady = ruling{}, ruling{}, level{}
}

// unsureFor is how long a kindling that nobody has confirmed wakes nobody when its warmth goes: longer than a doe sits; ours, no source.
const unsureFor = 6 * time.Hour

// neverLack is the part of the warmth that is still missing where the best of bad places is allowed for; ours, found on simulated nests.
const neverLack = 0.4

// neverWarm watches a pile of which nothing is usual yet: a badly placed probe and badly covered kits look alike.
func (c *chill) neverWarm(w *Watch, n *Now, lim brood.ClusterLimits) {
	p := &w.pile
	if !c.judged {
		if p.valid {
			c.never = level{}
		}
		return
	}
	if c.never.minutes > 0 && w.visits.entered.After(c.never.since) {
		c.never = level{}
	}
	if c.never.minutes == 0 && w.learnt() {
		return
	}
	a := p.a.value
	c.never.step(n, warmth(p.y, a) < math.Log(gainPrior)-loss(lim.ChillWarn.C, a)-neverLack)
}

// learnt reports whether hours of a probe are known: then what is usual decides, not what is usual elsewhere.
func (w *Watch) learnt() bool {
	for i := range w.cluster {
		if w.pile.trails[i].hours >= farHours {
			return true
		}
	}
	return false
}

// clusterChill needs a cluster probe, nest air and a known kindling. Without them the back-stop alone remains.
func (w *Watch) clusterChill(n *Now) alarm.Condition {
	if len(w.cluster) == 0 {
		return alarm.Condition{}
	}
	c, p := &w.pile.chill, &w.pile
	stop := w.coldProbe(n)
	lim, _ := w.tables.Cluster(max(w.days.age, 0), w.site.season.Season())
	out := alarm.Condition{Value: round2(c.core), Limit: round2(c.limit), HasValue: true, HasLimit: true, Unit: "C"}
	if p.probe != nil {
		out.Probe = p.probe.Probe
	}
	switch {
	case c.crit.on:
		out.Severity, out.Since, out.Limit = alarm.Urgent, c.crit.since, round2(c.critical)
		if w.book.Kindled.IsZero() && n.Wall.Sub(w.kindled()) < unsureFor && !w.night() {
			out.Severity = alarm.Warning // it may have been a doe who sat there, and in mild weather a look can wait till morning
		}
		if c.warn.on && c.warn.since.Before(out.Since) {
			out.Since = c.warn.since
		}
	case c.warn.on:
		out.Severity, out.Since = alarm.Warning, c.warn.since
		if lim.ChillWarn.Notice {
			out.Severity = alarm.Notice
		}
	case stop:
		out.Severity, out.Since, out.Why = alarm.Warning, c.backstop.sinceWall, whyBackstop
		out.Value, out.Limit = round2(p.y), brood.RawChill
	case w.has && (w.days.ended || w.Out()):
	case !c.judged, c.stale(w, lim): // what stood before the probes began to be compared is not over
		out.Hold = true
	}
	return out
}

// stale reports whether a chill stands of which the last program knew more: what is usual here may have been learned of a pile that was cold
// already. It ends with warmth that any well placed probe would read, or with a look.
func (c *chill) stale(w *Watch, lim brood.ClusterLimits) bool {
	p := &w.pile
	a := p.a.value
	warm := p.valid && warmth(p.y, a) > math.Log(gainPrior)-backShare*loss(lim.ChillWarn.C, a)
	c.restored = c.restored && !warm && !w.days.ended
	return c.restored
}

func round2(v float64) float64 { return math.Round(v*100) / 100 }
