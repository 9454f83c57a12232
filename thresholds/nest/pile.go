package nest

import (
	"math"
	"slices"
	"time"

	"nestmon/thresholds/brood"
)

// Numbers of the warmth estimate. All were found on simulated nests with one set-point and one decay of warmth with distance; ours,
// no litter measured.
const (
	setPoint      = 37.5 // °C, what a warm cluster's core holds; the trade's 100 °F is 37.8 (common practice, no source)
	gainPrior     = 0.85 // share of a core's warmth that a well placed probe reads
	gainLow       = 0.40 // a probe that holds less is not on the cluster
	blindBelow    = 0.38 // 60th percentile of hourly warmth: the probe is not on the cluster
	blindUntil    = 0.50 // and is believed again above this
	blindHours    = 8    // hours of warmth before a probe can be called blind
	hotAir        = 30.0 // °C of nest air from which the contrast is too small to scale
	hotAirSpan    = 4.0  // °C over which the plain reading takes over
	noLearningAir = 33.0 // °C: nothing is learned in air this hot
	airMinutes    = 10.0 // smoothing of nest air
	outMinutes    = 30.0 // smoothing of outside air
	gapLeast      = 0.5  // K between cluster and air: under it a logarithm is noise
	dropLeast     = 0.8  // K that a reading must fall in dropMinutes to have fallen fast,
	dropOfWarmth  = 0.06 // or this share of its warmth, whichever is more
	dropMinutes   = 6    // min
	dropQuiet     = 60   // min after a fast fall in which nothing is learned
	priorHours    = 6.0  // hours over which the prior gain fades out
)

var (
	airWeight = perMinute(airMinutes)
	outWeight = perMinute(outMinutes)
)

// pile is what is known of the cluster of kits: its warmth, how it changes, and whether the probe is on it at all.
type pile struct {
	reading ring // °C, the warmer cluster probe, minute by minute
	air     ring // °C, nest air
	logGap  ring // ln of the gap between the two, K
	a       ewma // °C, smoothed nest air
	out     ewma // °C, smoothed outside air

	valid bool // both are fresh in this minute
	probe *Channel
	y     float64 // °C
	core  float64 // °C, estimate of the core
	w     float64 // warmth, 0 none to 1 all of the way from nest air to the set-point
	gain  float64

	hour    [60]float32 // warmth of this hour's minutes
	minutes int
	hourly  [24]float32 // medians, newest first
	hours   int         // since the litter came, at most 24
	blind   bool

	warm   int           // min the probe has been as warm as only kits make it
	kits   bool          // it has been so for long enough to believe it
	kitsAt time.Duration // the last time it was

	sinceDrop int // minutes since the reading fell fast
	chill     chill
}

// longAgo is a number of minutes beyond every grace.
const longAgo = 1 << 20

func (p *pile) forget() {
	p.reading.clear()
	p.air.clear()
	p.logGap.clear()
	p.a, p.out = ewma{}, ewma{}
	p.sinceDrop = longAgo
}

// newLitter drops what was learned of the last one: another cluster, another place of the probe.
func (p *pile) newLitter() {
	p.gain, p.minutes, p.hours, p.blind = gainPrior, 0, 0, false
	p.sinceDrop = longAgo
	p.chill.reset()
}

func (p *pile) step(w *Watch, n *Now) {
	p.probe = w.warmest(n)
	airFresh := w.air.Fresh(n)
	p.valid = airFresh && p.probe != nil
	y, a, gap := absent, absent, absent
	if airFresh {
		p.a.push(w.air.value, airWeight)
		a = float32(w.air.value)
	} else {
		p.a = ewma{}
	}
	if w.site.air.Fresh(n) {
		p.out.push(w.site.air.value, outWeight)
	} else {
		p.out = ewma{}
	}
	if p.probe != nil {
		p.y = p.probe.value
		y = float32(p.y)
	}
	if p.valid {
		gap = float32(math.Log(max(p.y-p.a.value, gapLeast)))
	}
	p.reading.push(y)
	p.air.push(a)
	p.logGap.push(gap)
	p.sinceDrop = min(p.sinceDrop+1, longAgo)
	if p.valid {
		p.dropped()
		p.lookForKits(n)
		p.estimate(w)
	}
	p.chill.step(w, n)
}

// A litter nobody entered shows by warmth that only kits make: a cluster of 30 °C, 8 K over nest air, for three hours. Inferred, no
// litter measured.
const (
	kitsWarm    = 30.0 // °C
	kitsOverAir = 8.0  // K
	kitsFor     = 3 * 60
)

func (p *pile) lookForKits(n *Now) {
	if p.y < kitsWarm || p.y-p.a.value < kitsOverAir {
		p.warm = 0
		return
	}
	if p.warm++; p.warm >= kitsFor {
		p.kits, p.kitsAt = true, n.Mono
	}
}

// warmUnentered reports whether a nest without a litter in the book has shown the warmth of one, so lately that the back-stop should hold.
func (p *pile) warmUnentered(w *Watch, n *Now) bool {
	return !w.has && p.kits && n.Mono-p.kitsAt <= brood.RawChillLastDay*24*time.Hour
}

// dropped looks for a fall in six minutes that is large beside the warmth of the last half hour: a nursing doe, an opened nest,
// a probe pulled out.
func (p *pile) dropped() {
	before := p.reading.back(dropMinutes)
	if isAbsent(before) || float64(before)-p.y < dropLeast {
		return
	}
	ref, ok := p.reading.median(10, 44)
	if ok && float64(before)-p.y > max(dropLeast, dropOfWarmth*(ref-p.a.value)) {
		p.sinceDrop = 0
	}
}

func (p *pile) estimate(w *Watch) {
	a := p.a.value
	p.w = min(max((p.y-a)/max(setPoint-a, 1), 0), 1.05)
	p.core = a + (p.y-a)/p.gain
	if a > hotAir {
		s := min(max((hotAir+hotAirSpan-a)/hotAirSpan, 0), 1)
		p.core = s*p.core + (1-s)*(p.y+0.5)
	}
	if w.days.age < 0 {
		return
	}
	if p.sinceDrop < dropQuiet || p.chill.on() || a > noLearningAir {
		return
	}
	p.hour[p.minutes%60] = float32(p.w)
	if p.minutes++; p.minutes%60 == 0 {
		p.learn()
	}
}

// learn closes an hour: its median warmth joins the day's, and gain and blindness follow.
func (p *pile) learn() {
	vals := p.hour
	slices.Sort(vals[:])
	copy(p.hourly[1:], p.hourly[:])
	p.hourly[0] = vals[30]
	p.hours = min(p.hours+1, len(p.hourly))
	day := p.hourly
	sorted := day[:p.hours]
	slices.Sort(sorted)
	upper := func(share float64) float64 { return float64(sorted[int(share*float64(len(sorted)-1)+0.5)]) }
	trust := min(float64(p.hours)/priorHours, 1)
	p.gain = min(max(trust*upper(0.75)+(1-trust)*gainPrior, gainLow), 1)
	if p.hours >= blindHours {
		switch q := upper(0.60); {
		case q < blindBelow:
			p.blind = true
		case q > blindUntil:
			p.blind = false
		}
	}
}

// cooling fits ln(gap) over the last minutes: time constant in minutes and t statistic; ok when the gap shrinks.
func (p *pile) cooling(minutes int) (tau, t float64, ok bool) {
	b, t, ok := p.logGap.slope(minutes)
	if !ok || b >= 0 {
		return 0, 0, false
	}
	return -1 / b, t, true
}

// level is the number of minutes a state has lasted.
type level struct {
	minutes int
	since   time.Time
}

func (l *level) step(n *Now, on bool) int {
	if !on {
		*l = level{}
		return 0
	}
	if l.minutes == 0 {
		l.since = n.Wall
	}
	l.minutes++
	return l.minutes
}
