package warmed

import (
	"math"
	"slices"
	"time"
)

// Numbers of the decision; ours, chosen on simulated warmings (see the table of TestMeasured), no source.
const (
	named     = 1.0              // K over its own course and the others' that name a probe
	stirred   = 0.3              // K from which a probe may be the one: four steps of a DS18B20 and more than its noise
	alsoRose  = 0.12             // of the best one's rise: another that rose so much is held too
	alsoLeast = 0.2              // K, at least
	accused   = 0.5              // K from which another that rose is said to be held; below, nothing is named and nothing said
	overOwn   = 6.0              // times the probe's own noise
	leastOwn  = 0.04             // K, of that noise: two thirds of a DS18B20's step
	apart     = time.Second      // between the two readings that must agree
	shown     = 7 * time.Second  // after it was gripped a probe shows it, at the latest
	shownSoon = 4 * time.Second  // and not before, however fast another one rises
	showsBy   = 2.0              // K that the one must rise before another in the same hands has shown it
	learn     = 3                // readings of each probe before anybody may be told to grip one
	learnFor  = 10 * time.Second // and so long at least
	recent    = 2                // rounds of readings that may be of the hand, and belong to no course
	recently  = 12 * time.Second // at least so long
	course    = 4                // rounds that a course is drawn through
	courseOf  = time.Minute      // at least so long
	inclined  = 20 * time.Second // a shorter course is taken as level
	kept      = 10 * time.Minute
	brisk     = 0.03             // K/s from the grip on: a hand 5 K warmer than a probe gives 0.1, the barn's own swing 0.02
	stirMost  = 90 * time.Second // a stir that lasts longer without a name is the barn's, and courses are drawn anew
	still     = 0.15             // K within which a released probe counts as back in its course
	stillFor  = 20 * time.Second // seen for so long
	blindFor  = 3                // failed readings in a row make a probe one that cannot be seen
	alone     = 2.0              // times: how much more a probe must rise that has no other beside it
	shared    = 0.5              // K: so much of what a single other one does may be the barn's
	fallen    = 0.2              // K: so much of the others' fall may be the barn's, and make one that stands still look risen

	halfOfSteps = 0.954 // times the noise is the median step between two readings: 0.6745 √2, of normal noise
)

// State is how far the search is.
type State int

// The states.
const (
	Learning State = iota // do not touch any probe
	Waiting               // grip one
	Rising                // one may be warmed, not certain yet
	Several               // more than one rises: let all go but one
	Named
)

// Verdict is what is known now.
type Verdict struct {
	State  State
	Probe  int     // the one, valid from Rising on; otherwise -1
	Rise   float64 // K
	Other  int     // the next best, -1 where there is none
	Second float64 // K, of that one
	Noise  float64 // K, of the one before it was warmed
	Blind  []int   // probes that cannot be read: the one might be among them
}

// Sure is how clearly the named probe stands out: by how many times its rise exceeds what else could have made it. Above 10 there is no
// doubt, from 4 on it is worth a second try.
func (v Verdict) Sure() float64 {
	return v.Rise / max(v.Second/alsoRose, v.Noise*overOwn/2, named/10)
}

type sample struct {
	at    time.Time
	value float64
}

type probe struct {
	samples []sample // oldest first
	asked   time.Time
	gap     time.Duration // between the last two times it was asked
	fails   int
	cooling bool      // was held, and is not back in a course of its own yet
	drawn   time.Time // the watch's until for which line was drawn
	line    line
}

// Watch follows probes, which it numbers from 0.
type Watch struct {
	probes []probe
	begun  time.Time
	until  time.Time // later readings may be of the hand and belong to no course; zero while all learn
	stir   time.Time // since when one or several rise; zero while none does
}

// New makes a watch of n probes.
func New(n int) *Watch { return &Watch{probes: make([]probe, n)} }

// Add takes a reading.
func (w *Watch) Add(i int, at time.Time, value float64) {
	p := &w.probes[i]
	if w.begun.IsZero() {
		w.begun = at
	}
	p.fails = 0
	p.ask(at)
	p.samples = append(p.samples, sample{at, value})
	old := 0
	for old < len(p.samples)-1 && at.Sub(p.samples[old].at) > kept {
		old++
	}
	p.samples = slices.Delete(p.samples, 0, old)
	if p.cooling && p.settled(at) {
		p.cooling = false
	}
	w.move(at)
}

// move lets the courses run on while nothing stirs.
func (w *Watch) move(now time.Time) {
	switch v := w.Verdict(now); v.State {
	case Learning:
		if w.learned(now) {
			w.until = now
		}
		return
	case Waiting:
		w.stir = time.Time{}
	default:
		if w.stir.IsZero() {
			w.stir = now
		}
		if now.Sub(w.stir) < stirMost {
			return
		}
		w.stir = time.Time{}
	}
	if until := now.Add(-max(recently, recent*w.round())); until.After(w.until) {
		w.until = until
	}
}

// Fail takes a reading that brought no value. After a first failure it is the probe's turn again.
func (w *Watch) Fail(i int, at time.Time) {
	p := &w.probes[i]
	if p.fails++; p.fails > 1 {
		p.ask(at)
	}
}

func (p *probe) ask(at time.Time) {
	if !p.asked.IsZero() {
		p.gap = at.Sub(p.asked)
	}
	p.asked = at
}

// round is how long it takes to read every probe once.
func (w *Watch) round() (longest time.Duration) {
	for i := range w.probes {
		longest = max(longest, w.probes[i].gap)
	}
	return longest
}

// Release says that the named probe was told of: it cools, and the search for the next begins.
func (w *Watch) Release(i int) { w.probes[i].cooling = true }

// settled reports whether a released probe stands still again.
func (p *probe) settled(now time.Time) bool {
	low, high := math.Inf(1), math.Inf(-1)
	for k := len(p.samples) - 1; k >= 0; k-- {
		low, high = min(low, p.samples[k].value), max(high, p.samples[k].value)
		if high-low > still {
			return false
		}
		if now.Sub(p.samples[k].at) >= stillFor {
			p.samples, p.drawn = slices.Delete(p.samples, 0, k), time.Time{} // its course begins here
			return true
		}
	}
	return false
}

func (p *probe) blind() bool { return p.fails >= blindFor }

// Next is the probe of these, all on one bus, to read next: one that may be warmed every other time, else the one not read for longest.
func (w *Watch) Next(bus []int, now time.Time) int {
	oldest := bus[0]
	for _, i := range bus {
		if w.probes[i].asked.Before(w.probes[oldest].asked) {
			oldest = i
		}
	}
	v := w.Verdict(now)
	if v.State != Rising {
		return oldest
	}
	doubted := []int{v.Probe}
	if w.rivals(v, now) {
		doubted = append(doubted, v.Other)
	}
	for _, i := range doubted {
		if slices.Contains(bus, i) && !w.lastAsked(bus, i) && !w.confirmed(i) {
			return i
		}
	}
	return oldest
}

func (w *Watch) lastAsked(bus []int, i int) bool {
	for _, j := range bus {
		if j != i && w.probes[j].asked.After(w.probes[i].asked) {
			return false
		}
	}
	return true
}

// Verdict says what is known.
func (w *Watch) Verdict(now time.Time) Verdict {
	v := Verdict{State: Learning, Probe: -1, Other: -1}
	for i := range w.probes {
		if w.probes[i].blind() {
			v.Blind = append(v.Blind, i)
		}
	}
	if w.until.IsZero() {
		return v
	}
	v.State = Waiting
	rises := w.rises()
	for i, r := range rises {
		switch {
		case math.IsNaN(r):
		case v.Probe < 0 || r > v.Rise:
			v.Other, v.Second = v.Probe, v.Rise
			v.Probe, v.Rise = i, r
		case v.Other < 0 || r > v.Second:
			v.Other, v.Second = i, r
		}
	}
	if v.Probe < 0 {
		return v
	}
	best := &w.probes[v.Probe]
	v.Noise = w.course(best).noise
	need := named
	if v.Other < 0 {
		need *= alone
	}
	switch {
	case v.Rise < max(stirred, overOwn*v.Noise):
		v.Probe, v.State = -1, Waiting
	case w.rivals(v, now) && v.Second > accused && w.held(v.Probe, v.Rise, now) && w.held(v.Other, v.Second, now):
		v.State = Several
	case v.Rise < need || w.rivals(v, now) || !w.held(v.Probe, v.Rise, now) || !w.onlyOne(v.Probe, now):
		v.State = Rising
	default:
		v.State = Named
	}
	return v
}

// rivals reports whether the next best rose as well, by as much of the best one's rise as that had when the next best was read.
func (w *Watch) rivals(v Verdict, now time.Time) bool {
	if v.Other < 0 {
		return false
	}
	since := w.onset(v.Probe, now)
	then := w.newest(v.Other).at.Sub(since).Seconds() / max(w.newest(v.Probe).at.Sub(since).Seconds(), 1)
	return v.Second > max(alsoLeast, v.Rise*min(max(then, 0), 1)*alsoRose, overOwn/2*w.course(&w.probes[v.Other]).noise)
}

func (w *Watch) newest(i int) sample {
	own := w.probes[i].samples
	return own[len(own)-1]
}

// held reports whether the probe rose by so much as a hand does it: twice seen, briskly, and not back to where it was.
func (w *Watch) held(i int, rise float64, now time.Time) bool {
	return w.confirmed(i) && w.beyond(i) && rise >= brisk*w.newest(i).at.Sub(w.onset(i, now)).Seconds()
}

// beyond reports whether a probe that fell in its course is clearly warmer than before: one that comes back from a draught is not.
func (w *Watch) beyond(i int) bool {
	p := &w.probes[i]
	c := w.course(p)
	return c.top-c.last < stirred || p.samples[len(p.samples)-1].value > c.top+named
}

// learned reports whether every probe that can be seen has a course.
func (w *Watch) learned(now time.Time) bool {
	seen := 0
	for i := range w.probes {
		p := &w.probes[i]
		if p.blind() {
			continue
		}
		if len(p.samples) < learn {
			return false
		}
		seen++
	}
	return seen > 0 && now.Sub(w.begun) >= learnFor
}

// rises lists by how many K each probe reads over its own course and over what the others do; NaN where nothing can be said.
func (w *Watch) rises() []float64 {
	own := make([]float64, len(w.probes))
	for i := range w.probes {
		own[i] = math.NaN()
		if p := &w.probes[i]; !p.blind() && !p.cooling && len(p.samples) > 0 {
			newest := p.samples[len(p.samples)-1]
			own[i] = w.course(p).rise(newest)
		}
	}
	out := make([]float64, len(own))
	for i := range own {
		out[i] = own[i] - common(own, i)
	}
	return out
}

// common is the median of what the others do, of two in the middle the one nearer to nothing: it is less likely to be held or in a draught.
// A single other one may be held itself, so little of it counts.
func common(own []float64, without int) float64 {
	var rest []float64
	for i, r := range own {
		if i != without && !math.IsNaN(r) {
			rest = append(rest, r)
		}
	}
	switch len(rest) {
	case 0:
		return 0
	case 1:
		return min(max(rest[0], -fallen), shared)
	}
	slices.Sort(rest)
	low, high := rest[(len(rest)-1)/2], rest[len(rest)/2]
	return max(-fallen, min(max(0, low), high))
}

// confirmed reports whether two readings of the probe say that it rose.
func (w *Watch) confirmed(i int) bool {
	p := &w.probes[i]
	if len(p.samples) < 2 {
		return false
	}
	c := w.course(p)
	newest := p.samples[len(p.samples)-1]
	for _, s := range p.samples[:len(p.samples)-1] {
		if s.at.After(w.until) && newest.at.Sub(s.at) >= apart && c.rise(s) > max(stirred, overOwn*c.noise) && newest.value >= s.value-2*leastOwn {
			return true
		}
	}
	return false
}

// onlyOne reports whether every other probe was read long enough after this one began to rise to show it too.
func (w *Watch) onlyOne(i int, now time.Time) bool {
	since := w.onset(i, now)
	since = since.Add(w.shows(i, since))
	for j := range w.probes {
		p := &w.probes[j]
		if j == i || p.blind() || p.cooling {
			continue
		}
		if len(p.samples) == 0 || p.samples[len(p.samples)-1].at.Before(since) {
			return false
		}
	}
	return true
}

// shows is how long after the grip another probe in the same hands shows it too. A steep rise tells of hands far warmer than the barn, in which
// it takes less; where all are read within moments there is nothing to be gained by that.
func (w *Watch) shows(i int, since time.Time) time.Duration {
	if w.round() < shown {
		return shown
	}
	newest := w.newest(i)
	speed := w.course(&w.probes[i]).rise(newest) / newest.at.Sub(since).Seconds()
	return min(max(time.Duration(showsBy/speed*float64(time.Second)), shownSoon), shown)
}

// onset is about when the probe began to rise: where the line through its first risen reading and its newest meets its course, and not
// before the last reading that had not risen.
func (w *Watch) onset(i int, now time.Time) time.Time {
	p := &w.probes[i]
	c := w.course(p)
	var quiet, first *sample
	for k := range p.samples {
		s := &p.samples[k]
		switch {
		case c.rise(*s) <= max(stirred, overOwn*c.noise):
			quiet, first = s, nil
		case first == nil:
			first = s
		}
	}
	if first == nil {
		return now
	}
	newest := p.samples[len(p.samples)-1]
	begin := first.at
	rose := c.rise(*first)
	if speed := (c.rise(newest) - rose) / newest.at.Sub(first.at).Seconds(); speed > 0 && !math.IsInf(speed, 0) {
		begin = first.at.Add(-time.Duration(rose / speed * float64(time.Second)))
	}
	if quiet != nil && begin.Before(quiet.at) {
		begin = quiet.at
	}
	return begin
}
