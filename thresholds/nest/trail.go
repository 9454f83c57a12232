package nest

import (
	"math"
	"slices"
)

// Numbers of the trail of warmth. The warmth is the logarithm of what is left of the way from nest air to the set-point: a pile that cools by
// Newton's law loses equal parts of it in equal times wherever the probe lies, and a probe twice as far off loses a constant. All were
// found on simulated nests; ours, no litter measured.
const (
	blockMinutes = 5  // min in one value of the trail
	trailBlocks  = 51 // values kept: four hours, and the quarter of an hour that smooths the oldest

	stepFall   = 0.25 // of the warmth within stepBlocks: time constants under an hour. The quickest scattered kits in deep frost take one and a half
	stepBlocks = 3    // a quarter of an hour
	stepRest   = 9    // blocks after a step in which nothing is compared: then a pile that moved lies still, and a nursed one is closed again
	visitRest  = 18   // as many after a visit's step: the probe may have moved at the same time, and that must have come to rest as well
	stepAgain  = 24   // blocks before another step is told from the same fall going on
	stepLost   = 0.2  // of the warmth still gone after the rest: the pile has moved, it was no visit

	recentFrom  = 3    // blocks before now from which the recent warmth is taken,
	recentTo    = 48   // to four hours
	recentLeast = 3    // values it needs
	recentShare = 0.85 // quantile of them: near the best, not the best, for a doe warms the probe too

	usualHours = 24   // hours of warmth kept
	usualLeast = 4    // hours it needs
	usualShare = 0.75 // quantile of them: the pile as it lies when it is closed

	hourBlocks = 60 / blockMinutes
	gapBlocks  = 6    // blocks without a reading that are a gap: what went on in it was not watched
	gapRest    = 24   // blocks after one in which a fall need not be seen going on, and what was warm before it is remembered
	noiseFirst = 0.07 // of the warmth: how much it wanders in an hour, before it is known here
	noiseDay   = 288  // blocks over which that is learned
)

// trail is the warmth that one cluster probe has held over the last hours.
type trail struct {
	sum   float64 // of the block that is filling
	n     int
	raw   [stepBlocks + 1]float32 // newest first
	at    int
	past  [trailBlocks]float32 // medians of three, the newest at at
	noise float64              // learned change in an hour
	blank int                  // blocks in a row without a reading
	since int                  // blocks since the last gap

	sinceStep int     // blocks
	before    float64 // the warmth before it
	visited   bool    // the doe or a person made it: the pile lies where it lay, and should close again
	open      bool    // it is not known yet whether the warmth comes back
	moved     bool    // it did not

	hour   [hourBlocks]float32 // warmth of this hour's blocks
	inHour int
	hourly [usualHours]float32 // medians, newest first
	hours  int

	recent, usual       float64 // the best of the last hours, and of the day
	hasRecent, hasUsual bool
}

func (t *trail) forget() {
	t.sum, t.n, t.sinceStep, t.open, t.hasRecent, t.blank, t.since = 0, 0, longAgo, false, false, 0, longAgo
	for i := range t.raw {
		t.raw[i] = absent
	}
	for i := range t.past {
		t.past[i] = absent
	}
	if t.noise == 0 {
		t.noise = noiseFirst
	}
}

// anew drops what was learned of a litter: another cluster, another place of the probe.
func (t *trail) anew() {
	t.inHour, t.hours, t.hasUsual, t.moved = 0, 0, false, false
}

// warmth is the logarithm of the share of the way from nest air, a, to the set-point that a reading holds, both in °C.
func warmth(y, a float64) float64 { return math.Log(max(y-a, gapLeast) / max(setPoint-a, 1)) }

// place is the warmth that the probe holds when all is well, as far as known.
func (t *trail) place() float64 {
	switch {
	case t.hasRecent && t.hasUsual:
		return max(t.recent, t.usual)
	case t.hasRecent:
		return t.recent
	case t.hasUsual:
		return t.usual
	}
	return math.Inf(-1)
}

func (t *trail) push(w float64) { t.sum, t.n = t.sum+w, t.n+1 }

func (t *trail) back(blocks int) float64 { return float64(t.past[(t.at+blocks)%trailBlocks]) }

// quick is the warmth lost in half an hour, from the block nearest to that which is there: readings that went missing are no sign of a pile
// that lies still. Without any it is 0.
func (t *trail) quick() float64 {
	now := t.back(0)
	for d := range gapBlocks + 1 {
		for _, back := range [...]int{halfHour + d, halfHour - d} {
			if before := t.back(back); back > 0 && !math.IsNaN(before) {
				return (before - now) * halfHour / float64(back)
			}
		}
	}
	return 0
}

// close ends a block of five minutes. Visited says that the doe or a person has just been there. Held says that a chill is on: then nothing
// is learned, and what is compared with stays.
func (t *trail) close(visited, held bool) {
	copy(t.raw[1:], t.raw[:])
	t.raw[0] = absent
	if t.n > 0 {
		t.raw[0] = float32(t.sum / float64(t.n))
	}
	t.sum, t.n = 0, 0
	t.at = (t.at + trailBlocks - 1) % trailBlocks
	t.past[t.at] = medianOf(t.raw[:3])
	t.sinceStep = min(t.sinceStep+1, longAgo)
	t.since = min(t.since+1, longAgo)
	now := t.back(0)
	if math.IsNaN(now) {
		t.blank++
		return
	}
	if t.blank >= gapBlocks {
		t.since = 0
	}
	t.blank = 0
	if float64(t.raw[stepBlocks]-t.raw[0]) > stepFall && t.sinceStep > stepAgain {
		t.sinceStep, t.before, t.open, t.visited = 0, t.back(stepBlocks), true, false
	}
	t.visited = t.visited || visited && t.sinceStep < stepRest
	if t.moved && now > t.before-stepLost {
		t.moved = false
	}
	if held && (t.hasRecent || t.hasUsual) {
		return
	}
	if hourAgo := t.back(hourBlocks); !math.IsNaN(hourAgo) && t.sinceStep > stepAgain {
		t.noise += (abs(hourAgo-now) - t.noise) / noiseDay
	}
	if t.settled() {
		t.rebase(now)
		t.learn(now)
	}
	t.remember()
}

// settled reports whether the last step is over.
func (t *trail) settled() bool {
	if t.visited {
		return t.sinceStep > visitRest
	}
	return t.sinceStep > stepRest
}

// rebase takes a step that has not come back for a move of the pile or the probe: no pile cools so fast. What is usual moves with it. After
// a visit it does not: a pile that has not closed is what is looked for.
func (t *trail) rebase(now float64) {
	if !t.open {
		return
	}
	t.open = false
	if t.visited {
		return
	}
	lost := t.before - now
	if lost <= stepLost {
		return
	}
	t.moved = true
	for i := range t.hours {
		t.hourly[i] -= float32(lost)
	}
	t.usual -= lost
}

func (t *trail) learn(now float64) {
	t.hour[t.inHour] = float32(now)
	if t.inHour++; t.inHour < hourBlocks {
		return
	}
	t.inHour = 0
	vals := t.hour
	slices.Sort(vals[:])
	copy(t.hourly[1:], t.hourly[:])
	t.hourly[0] = vals[hourBlocks/2]
	t.hours = min(t.hours+1, usualHours)
	day := t.hourly
	slices.Sort(day[:t.hours])
	t.usual, t.hasUsual = quantile(day[:t.hours], usualShare), t.hours >= usualLeast
}

// watched reports whether a fall would have been seen going on.
func (t *trail) watched() bool { return t.since > gapRest }

// remember takes the warmth of the last hours, since the last step if that was no visit. What was warm before a gap is kept for a while.
func (t *trail) remember() {
	if t.hasRecent && !t.watched() {
		return
	}
	var buf [trailBlocks]float32
	vals, to := buf[:0], recentTo
	if !t.visited {
		to = min(to, t.sinceStep-stepRest)
	}
	for i := recentFrom; i <= to; i++ {
		if v := t.past[(t.at+i)%trailBlocks]; !isAbsent(v) {
			vals = append(vals, v)
		}
	}
	if t.hasRecent = len(vals) >= recentLeast; t.hasRecent {
		slices.Sort(vals)
		t.recent = quantile(vals, recentShare)
	}
}

// quantile of sorted values, the nearest below.
func quantile(sorted []float32, share float64) float64 {
	return float64(sorted[int(share*float64(len(sorted)-1))])
}

// medianOf is the median of the values that are there, the mean of two, absent without any.
func medianOf(vals []float32) float32 {
	var buf [3]float32
	there := buf[:0]
	for _, v := range vals {
		if !isAbsent(v) {
			there = append(there, v)
		}
	}
	slices.Sort(there)
	switch len(there) {
	case 0:
		return absent
	case 2:
		return (there[0] + there[1]) / 2
	}
	return there[len(there)/2]
}
