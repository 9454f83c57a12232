package warmed

import (
	"math"
	"slices"
	"time"
)

// line is a probe's course: where it would be had nobody touched it.
type line struct {
	mid   time.Time
	value float64 // °C at mid
	slope float64 // K/s
	noise float64 // K, standard deviation about the line
}

func (l line) at(t time.Time) float64 { return l.value + l.slope*t.Sub(l.mid).Seconds() }

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
	// The line is drawn on over a stretch about as long as itself; what noise alone makes of its slope is taken out.
	var rest float64
	centre := st / n
	for _, s := range of {
		d := s.value - sv/n - l.slope*(s.at.Sub(l.mid).Seconds()-centre)
		rest += d * d
	}
	l.noise = max(leastOwn, math.Sqrt(rest/max(1, n-2)))
	if spread > 0 && math.Abs(l.slope) < 2*l.noise/math.Sqrt(spread) {
		l.slope = 0
	}
	l.mid = l.mid.Add(time.Duration(centre * float64(time.Second)))
	l.value = sv / n
	p.line, p.drawn = l, w.until
	return l
}
