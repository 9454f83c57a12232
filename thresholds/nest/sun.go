package nest

import "nestmon/thresholds/brood"

// Sun on a nest: its air rises, and the air outside does not rise with it. The rate is judgement, no source; that of metal, which has
// no heat capacity to speak of, and the shape were found on simulated nests; ours.
const (
	sunRate      = 5.0               // K in an hour more than the air outside
	sunRateMetal = 2.0               // K, of a metal box
	sunSpan      = 60 / forecastStep // values in the hour
	sunSlack     = 1                 // values on either side of the hour ago: an open lid is short
	sunQuarter   = sunSpan / 4       // values in a quarter of an hour
	sunStepMost  = 0.5               // share of the rise within one quarter: a doe comes in at once, the sun climbs
	sunKept      = sunSpan + 1       // values of the air outside
)

// sun compares the last hour of nest air with that of the air outside.
type sun struct {
	outside [sunKept]float32 // °C every five minutes, newest first
	sum     float64
	fresh   int
	rise    float64 // K in the last hour, nest air more than the air outside; 0 where not known or not like the sun
	before  float64 // K, five minutes ago
	limit   dwell
}

func (s *sun) forget() {
	for i := range s.outside {
		s.outside[i] = absent
	}
}

func (s *sun) take(out *Channel, n *Now) {
	if out.Fresh(n) {
		s.sum += out.value
		s.fresh++
	}
}

// step takes a value of the air outside, after nest air took its own.
func (s *sun) step(f *forecast) {
	copy(s.outside[1:], s.outside[:])
	s.outside[0] = absent
	if s.fresh > 0 {
		s.outside[0] = float32(s.sum / float64(s.fresh))
	}
	s.sum, s.fresh = 0, 0
	s.before, s.rise = s.rise, s.measure(f)
}

func (s *sun) measure(f *forecast) float64 {
	was := f.back(sunSpan)
	for k := sunSpan - sunSlack; k <= sunSpan+sunSlack; k++ {
		was = max(was, f.back(k))
	}
	rise := f.back(0) - was
	for k := 0; k+sunQuarter <= sunSpan; k++ {
		if f.back(k)-f.back(k+sunQuarter) > sunStepMost*rise {
			return 0
		}
	}
	if more := rise - (s.outside[0] - s.outside[sunSpan]); !isAbsent(more) {
		return float64(more)
	}
	return 0
}

// on reports whether the sun heats this kind of nest.
func (s *sun) on(kind brood.Kind) bool {
	rate := sunRate
	if kind == brood.MetalBox {
		rate = sunRateMetal
	}
	return min(s.rise, s.before) >= rate
}
