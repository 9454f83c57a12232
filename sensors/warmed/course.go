package warmed

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// line is a probe's course: where it would be had nobody touched it.
type line struct {
	mid   time.Time
	value float64 // °C at mid
	slope float64 // K/s
	noise float64 // K, standard deviation of one reading
	last  float64 // °C, where it stood at the end: the middle one of its last readings
	top   float64 // °C, its highest reading
}

func (l line) at(t time.Time) float64 { return l.value + l.slope*t.Sub(l.mid).Seconds() }

// rise is how far a reading lies over the line and over where the probe stood at last: a probe that fell and stays down has not risen.
func (l line) rise(s sample) float64 { return s.value - max(l.at(s.at), l.last) }

// course draws the line through the newest readings that cannot be of a hand.
func (w *Watch) course(p *probe) line {
	if !p.drawn.IsZero() && p.drawn.Equal(w.until) {
		return p.line
	}
	var l line
	end, _ := slices.BinarySearchFunc(p.samples, w.until, func(s sample, t time.Time) int {
		if s.at.After(t) {
			return 1
		}
		return -1
	})
	if end == 0 { // nothing is old enough: begin with the first
		end = min(1, len(p.samples))
	}
	of := p.samples[:end]
	if len(of) == 0 {
		return l
	}
	for from := of[end-1].at.Add(-max(courseOf, course*w.round())); of[0].at.Before(from); {
		of = of[1:]
	}
	l.mid = of[0].at
	var st, sv, stt, stv float64
	n := float64(len(of))
	for _, s := range of {
		t := s.at.Sub(l.mid).Seconds()
		st, sv, stt, stv = st+t, sv+s.value, stt+t*t, stv+t*s.value
	}
	spread := stt - st*st/n
	if len(of) >= learn && of[len(of)-1].at.Sub(of[0].at) >= inclined {
		l.slope = (stv - st*sv/n) / spread
	}
	centre := st / n
	l.noise = grain(of, l.slope)
	// The line is drawn on over a stretch about as long as itself; what noise alone makes of its slope is taken out.
	if spread > 0 && math.Abs(l.slope) < 2*l.noise/math.Sqrt(spread) {
		l.slope = 0
	}
	l.mid = l.mid.Add(time.Duration(centre * float64(time.Second)))
	l.value = sv / n
	l.last, l.top = middle(of[max(0, len(of)-3):]), slices.MaxFunc(of, func(a, b sample) int { return cmp.Compare(a.value, b.value) }).value
	p.line, p.drawn = l, w.until
	return l
}

// grain is the noise of one reading, from the steps between neighbours: a probe that was cooled for a moment is no noisy one.
func grain(of []sample, slope float64) float64 {
	var steps []sample
	for i := 1; i < len(of); i++ {
		step := of[i].value - of[i-1].value - slope*of[i].at.Sub(of[i-1].at).Seconds()
		steps = append(steps, sample{value: math.Abs(step)})
	}
	if len(steps) == 0 {
		return leastOwn
	}
	return max(leastOwn, middle(steps)/halfOfSteps)
}

// middle is the median of some values, of two in the middle the higher one.
func middle(of []sample) float64 {
	values := make([]float64, len(of))
	for i, s := range of {
		values[i] = s.value
	}
	slices.Sort(values)
	return values[len(values)/2]
}
