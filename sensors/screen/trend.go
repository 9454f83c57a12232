package screen

import (
	"math"
	"time"
)

// trend judges whether a value fits those before it.
type trend struct {
	ring [window]float64 // the newest values, odd ones too: a new level becomes the median by persisting
	n    int             // values seen, since forget
	last float64         // newest true value
	side int8            // -1 or 1 when the newest value was odd, below or above; 0 when it was true
	held time.Duration   // since the newest true value
}

func (t *trend) forget() { t.n, t.side, t.held = 0, 0, 0 }

// odd takes the next value and reports whether it stays suspect. Two odd values on the same side agree: the second is true
// and so is what follows at its level. An odd value followed by a fitting one was a spike.
func (t *trend) odd(v float64, gap time.Duration, o *oddness) bool {
	if t.n == 0 {
		t.last = v
		t.push(v)
		return false
	}
	t.held += max(gap, shortestGap)
	side := t.sideOf(v, o)
	suspect := side != 0 && side != t.side
	t.push(v)
	if suspect {
		t.side = side
		return true
	}
	if side != 0 { // agreed: judge what follows by the new level
		t.restart(v)
	}
	t.last, t.side, t.held = v, 0, 0
	return false
}

func (t *trend) push(v float64) {
	t.ring[t.n%window] = v
	t.n++
	if t.n >= 2*window { // keeps n small without losing the place in the ring
		t.n -= window
	}
}

// restart forgets all values but v.
func (t *trend) restart(v float64) {
	t.n = 0
	t.push(v)
}

// sideOf says on which side of the expected v is odd, or 0.
func (t *trend) sideOf(v float64, o *oddness) int8 {
	move := v - t.last
	if math.Abs(move) > o.floor && t.held <= longestGap*window {
		if math.Abs(move) > o.most*(1-math.Exp(-t.held.Seconds()/o.lag)) {
			return sign(move)
		}
	}
	n := min(t.n, window)
	if n < leastWindow || t.held > longestGap {
		return 0
	}
	// Cheap first: within the floor of every value there is no way to be an outlier.
	far := false
	for _, w := range t.ring[:n] {
		if math.Abs(v-w) > o.floor {
			far = true
			break
		}
	}
	if !far {
		return 0
	}
	sorted := t.ring
	centre := median(sorted[:n])
	for i, w := range t.ring[:n] {
		sorted[i] = math.Abs(w - centre)
	}
	if off := v - centre; math.Abs(off) > max(hampelSpread*median(sorted[:n]), o.floor) {
		return sign(off)
	}
	return 0
}

func sign(v float64) int8 {
	if v < 0 {
		return -1
	}
	return 1
}

// median sorts up to window values in place and returns the middle one, the lower of two.
func median(v []float64) float64 {
	for i := 1; i < len(v); i++ {
		for j := i; j > 0 && v[j] < v[j-1]; j-- {
			v[j], v[j-1] = v[j-1], v[j]
		}
	}
	return v[(len(v)-1)/2]
}
