package brood_test

import (
	"math"
	"testing"

	"nestmon/thresholds/brood"
)

func TestByAge(t *testing.T) {
	for _, c := range []struct {
		name      string
		f         func(float64) float64
		day, want float64
		tolerance float64
	}{
		// Sanz et al. 1989: 32, 28, 24 °C at day 1, 10, 20; flat outside, straight between.
		{"lower critical, newborn", brood.LowerCritical, 0, 32, 0},
		{"lower critical, day 1", brood.LowerCritical, 1, 32, 0},
		{"lower critical, day 5.5", brood.LowerCritical, 5.5, 30, 1e-12},
		{"lower critical, day 10", brood.LowerCritical, 10, 28, 0},
		{"lower critical, day 20", brood.LowerCritical, 20, 24, 0},
		{"lower critical, day 40", brood.LowerCritical, 40, 24, 0},
		// Hull, Hull & Vinter 1986: 38.0 at day 0, 30.4 at day 14.
		{"preferred, day 0", brood.Preferred, 0, 38, 0},
		{"preferred, day 7", brood.Preferred, 7, 34.2, 1e-12},
		{"preferred, day 14", brood.Preferred, 14, 30.4, 0},
		// Veterinarija ir Zootechnika 82(1), 2024: birth 42.5-53.2 g, day 5 88.5-93.7 g, day 7 111-120 g.
		{"mass at birth", brood.KitMass, 0, 0.0478, 0.0054},
		{"mass at day 5", brood.KitMass, 5, 0.0911, 0.0026},
		{"mass at day 7", brood.KitMass, 7, 0.1155, 0.0045},
		// J. Hull et al.: nearly three times birth by day 10. McNitt et al.: seven to eight times by three weeks.
		{"mass at day 10", brood.KitMass, 10, 3 * 0.0498, 0.005},
		{"mass at day 21", brood.KitMass, 21, 7.5 * 0.0498, 0.5 * 0.0498},
		{"mass of an unknown age", brood.KitMass, math.NaN(), 0.0498, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := c.f(c.day); !(math.Abs(got-c.want) <= c.tolerance) {
				t.Errorf("got %v, want %v ± %v", got, c.want, c.tolerance)
			}
		})
	}
	for day := 0.0; day < 60; day += 0.25 {
		if brood.KitMass(day+0.25) < brood.KitMass(day) {
			t.Fatalf("kits shrink at day %v", day)
		}
	}
}

// The warning limit of the pile keeps its distance from what kits need: above the lower critical temperature at birth, and
// no more than 1.5 °C below it while they are naked or new in fur.
func TestChillWarningFollowsTheLowerCriticalTemperature(t *testing.T) {
	tables := brood.DefaultTables()
	for age := range 21 {
		c, _ := tables.Cluster(age, brood.Mild)
		if gap := c.ChillWarn.C - brood.LowerCritical(float64(age)); gap < -1.5 || gap > 3 {
			t.Errorf("day %d: warning %v is %v above the lower critical temperature", age, c.ChillWarn.C, gap)
		}
	}
}

func TestHumidityDependsOnTheKindOfNest(t *testing.T) {
	if box := brood.Humidity(brood.MetalBox); box.NoticeBelow != 40 || box.NoticeAbove != 80 || box.WarnAbove != 85 {
		t.Errorf("box %+v", box)
	}
	if tote := brood.Humidity(brood.BuriedTote); tote.NoticeBelow != 0 || tote.NoticeAbove != 0 || tote.WarnAbove != 95 {
		t.Errorf("tote %+v", tote)
	}
}
