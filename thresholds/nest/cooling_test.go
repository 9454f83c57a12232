package nest

import (
	"fmt"
	"math"
	"testing"
)

// A body that cools by Newton's law comes to a limit after tau·ln((start-air)/(limit-air)): the closed form, beside what is read off forty
// minutes of a probe with steps of 1/16 °C (DS18B20 datasheet, 12 bit) and its noise. The gap is logged as pile.step logs it.
func TestTimeToLimit(t *testing.T) {
	const air, warm, gain = 5.0, 33.0, 0.85 // °C, but for the gain
	for _, c := range []struct {
		tau, limit float64 // min, and °C that lie ahead when the fit is whole
	}{{30, 10}, {100, 24}, {300, 28}} {
		tau, limit := c.tau, c.limit
		t.Run(fmt.Sprintf("tau %g min", tau), func(t *testing.T) {
			p := &pile{}
			p.forget()
			p.a.push(air, airWeight)
			for m := range coolingLong {
				y := air + (warm-air)*math.Exp(-float64(m)/tau)
				p.y = math.Round(16*(y+0.05*math.Sin(3.4*float64(m)))) / 16
				p.logGap.push(float32(math.Log(max(p.y-air, gapLeast))))
			}
			core := func(y float64) float64 { return air + (y-air)/gain }
			p.core = core(p.y)
			p.chill.cooling(p)
			if !p.chill.falling {
				t.Fatal("no cooling is seen")
			}
			truth := tau*math.Log((core(warm)-air)/(limit-air)) - (coolingLong - 1)
			if got := p.chill.toLimit(p, limit); math.Abs(got-truth) > 0.2*truth {
				t.Errorf("%.1f min to the limit, want %.1f within 20 %%", got, truth)
			}
		})
	}
}
