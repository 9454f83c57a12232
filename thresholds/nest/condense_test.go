package nest

import (
	"math"
	"testing"
)

// Lags of the year's wave in whole days by depth, for 0.5e-6 m²/s: printed in the project's table of the buried tote, computed there
// from the wave of Hillel 1982 as the Oklahoma State University soil physics pages give it.
func TestLagOfTheSoil(t *testing.T) {
	for _, c := range []struct{ depth, days float64 }{{0.30, 8}, {0.45, 12}, {0.60, 16}, {0.90, 23}} {
		if got := math.Round(lagDays(c.depth)); got != c.days {
			t.Errorf("%.2f m: %.0f days, want %.0f", c.depth, got, c.days)
		}
	}
}

// The estimate from daily means keeps to the published wave, T = Tmean - A0·exp(-z/d)·cos(ω(t - t0) - z/d), within what it says.
func TestSoilFollowsTheWave(t *testing.T) {
	const mean, swing = 13.0, 13.0
	omega := 2 * math.Pi / 365.25
	d := math.Sqrt(2 * 0.5e-6 * 86400 / omega)
	for z, most := range map[float64]float64{0.3: 1.6, 0.45: 2.3, 0.6: 3.1} {
		var g ground
		worst := 0.0
		for day := range 500 {
			g.push(mean - swing*math.Cos(omega*float64(day)))
			c, known := g.at(z)
			if day < 5 && known {
				t.Fatalf("%.2f m: known after %d days", z, day+1)
			}
			if day >= groundDays {
				wave := mean - swing*math.Exp(-z/d)*math.Cos(omega*float64(day)-z/d)
				worst = max(worst, math.Abs(c-wave))
			}
		}
		if worst > most {
			t.Errorf("%.2f m: off by %.2f °C, want %.1f at most", z, worst, most)
		}
	}
}
