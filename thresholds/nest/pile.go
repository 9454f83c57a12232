package nest

import (
	"math"
	"time"

	"nestmon/thresholds/brood"
)

// Numbers of the warmth estimate. All were found on simulated nests with one set-point and one decay of warmth with distance; ours,
// no litter measured.
const (
	setPoint   = 37.5 // °C, what a warm cluster's core holds; the trade's 100 °F is 37.8 (common practice, no source)
	gainPrior  = 0.85 // share of a core's warmth that a well placed probe reads
	farBelow   = 0.38 // of the warmth, usually: the probe lies badly, and only a fall can be judged
	farUntil   = 0.45 // and is believed again above this
	blindBelow = 0.12 // of it: nothing can
	blindUntil = 0.16 // and is believed again above this
	farHours   = 8    // hours of warmth before a probe can be called so
	placeRest  = 48   // blocks after a step before it can: what still falls has not found its place
	hotAir     = 30.0 // °C of nest air from which the contrast is too small to scale
	hotAirSpan = 4.0  // °C over which the plain reading takes over
	visitStep  = 25   // min after the doe or a person came in which a step is theirs
	airMinutes = 10.0 // smoothing of nest air
	outMinutes = 30.0 // smoothing of outside air
	gapLeast   = 0.5  // K between cluster and air: under it a logarithm is noise
)

var (
	airWeight = perMinute(airMinutes)
	outWeight = perMinute(outMinutes)
)

// MostClusterProbes is how many cluster probes a nest may have.
const MostClusterProbes = 2

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

	trails  [MostClusterProbes]trail
	inBlock int  // min of the block that is filling
	closed  bool // a block ended in this minute
	far     bool // the probes lie badly
	blind   bool // so badly that nothing can be judged

	warm   int           // min the probe has been as warm as only kits make it
	kits   bool          // it has been so for long enough to believe it
	kitsAt time.Duration // the last time it was

	grace int // min in which a look is not asked for, since somebody has just made the nest anew

	chill chill
}

// longAgo is a number of minutes beyond every grace.
const longAgo = 1 << 20

func (p *pile) forget() {
	p.reading.clear()
	p.air.clear()
	p.logGap.clear()
	p.a, p.out = ewma{}, ewma{}
	p.inBlock = 0
	for i := range p.trails {
		p.trails[i].forget()
	}
}

// newLitter drops what was learned of the last one: another cluster, another place of the probe.
func (p *pile) newLitter() {
	p.far, p.blind = false, false
	for i := range p.trails {
		p.trails[i].anew()
	}
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
	if w.site.air.Fresh(n) && !w.house.on {
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
	p.follow(w, n)
	if p.valid {
		p.lookForKits(n)
		p.estimate(w)
	}
	p.chill.step(w, n)
	p.grace = max(p.grace-1, 0)
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
	return w.days.age < 0 && !w.days.ended && p.kits && n.Mono-p.kitsAt <= brood.RawChillLastDay*24*time.Hour
}

// looked says that a person has: a probe that lay badly may have been put back.
func (p *pile) looked() {
	if !p.far && !p.blind {
		return
	}
	p.far, p.blind = false, false
	for i := range p.trails {
		p.trails[i].anew()
	}
}

// remadeGrace is for how many minutes after a box was turned no look is asked for where its probes lie oddly; ours, no source.
const remadeGrace = 60

// remade takes that the box was turned and bedded anew: the pile and the probes lie elsewhere, and what was warm before says nothing of
// it. A chill that stands is not over by that. Where it is entered late, what has moved since has moved by it.
func (p *pile) remade(n *Now, at time.Time) {
	late := n.Wall.Sub(at) >= justNow
	for i := range p.trails {
		p.trails[i].moved = false
	}
	if late || p.chill.on() {
		return
	}
	for i := range p.trails {
		p.trails[i].forget()
		p.trails[i].anew()
	}
	p.far, p.blind, p.grace = false, false, remadeGrace
	known := p.chill.known
	p.chill.reset()
	p.chill.known = known // who turned it felt the pile, and until it is judged again the air says no more than before
}

// madeWarm reports whether a nest was just made anew and its pile is not cold through.
func (p *pile) madeWarm() bool {
	return p.grace > 0 && p.valid && warmth(p.y, p.a.value) > math.Log(steadyWarm)
}

// follow gives every probe's warmth to its trail.
func (p *pile) follow(w *Watch, n *Now) {
	p.inBlock = (p.inBlock + 1) % blockMinutes
	p.closed = p.inBlock == 0
	contrast := p.valid && p.a.value < hotAir+1
	for i, c := range w.cluster {
		t := &p.trails[i]
		if contrast && c.Fresh(n) {
			t.push(warmth(c.value, p.a.value))
		}
		if p.closed {
			t.close(w.visits.recent(visitStep), p.chill.on() || p.chill.low.minutes > 0)
		}
	}
	if p.closed && w.days.age >= 0 {
		p.place(w, n)
	}
}

// place says how well the best of the probes that answer lies. Warmth of this hour shows a probe that was put back.
func (p *pile) place(w *Watch, n *Now) {
	best, known := math.Inf(-1), false
	for i, c := range w.cluster {
		t := &p.trails[i]
		if !c.Fresh(n) {
			continue
		}
		if t.hours > 0 && t.inHour == 0 && float64(t.hourly[0]) > math.Log(farUntil) {
			p.far, p.blind = false, false
		}
		if t.sinceStep < placeRest {
			return
		}
		if t.hours >= farHours {
			best, known = max(best, t.usual, float64(t.hourly[0])), true
		}
	}
	if !known {
		return
	}
	share := math.Exp(best)
	p.far = share < farBelow || p.far && share < farUntil
	p.blind = share < blindBelow || p.blind && share < blindUntil
}

// gain is the share of the core's warmth that the warmest probe usually reads.
func (p *pile) gain(w *Watch) float64 {
	for i, c := range w.cluster {
		if t := &p.trails[i]; c == p.probe && t.hasUsual {
			return math.Exp(t.usual)
		}
	}
	return gainPrior
}

func (p *pile) estimate(w *Watch) {
	a := p.a.value
	p.w = min(max((p.y-a)/max(setPoint-a, 1), 0), 1.05)
	p.core = min(a+(p.y-a)/p.gain(w), setPoint)
	if a > hotAir {
		s := min(max((hotAir+hotAirSpan-a)/hotAirSpan, 0), 1)
		p.core = s*p.core + (1-s)*(p.y+0.5)
	}
	if c := &p.chill; c.on() {
		p.core = c.core
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
