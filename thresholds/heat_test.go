package thresholds_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Box air over the limit with no cluster probe to be read, before kindling is known and while the clock is set, forward and back: one
// alarm each time, that ends once and does not come again on the way down.
func TestHeatIsGatedOnNothing(t *testing.T) {
	expecting := []litter.Litter{{ID: 1, Nest: "oak", Bred: start.AddDate(0, 0, -29)}}
	for name, c := range map[string]struct {
		litters []litter.Litter
		jump    time.Duration
	}{
		"no litter":               {nil, 0},
		"before kindling":         {expecting, 0},
		"clock an hour forward":   {nil, time.Hour},
		"clock an hour back":      {nil, -time.Hour},
		"clock a month forward":   {expecting, 30 * 24 * time.Hour},
		"clock a month back":      {expecting, -30 * 24 * time.Hour},
		"clock ten years forward": {nil, 10 * 365 * 24 * time.Hour},
		"clock ten years back":    {nil, -10 * 365 * 24 * time.Hour},
	} {
		t.Run(name, func(t *testing.T) {
			r := rabbitry(t, brood.MetalBox)
			r.SetLitters(c.litters, start)
			var events []alarm.Event
			for half := range 2 * 600 {
				at := start.Add(time.Duration(half) * 30 * time.Second)
				if half >= 2*305 { // five minutes into the heat
					at = at.Add(c.jump)
				}
				air := 28.0
				switch m := half / 2; {
				case m >= 300 && m < 360:
					air = 35.1
				case m >= 360:
					air = max(35.1-0.05*float64(m-360), 28)
				}
				events = append(events, r.Observe(at, []sensors.Reading{
					{Probe: "cluster", Time: at, Fault: sensors.NoAnswer}, {Probe: "air", Time: at, Value: air + dusty(half)},
				})...)
			}
			want(t, events, alarm.NestHeat, alarm.Raised, alarm.Urgent, 1)
			want(t, events, alarm.NestHeat, alarm.Cleared, alarm.Notice, 1)
		})
	}
}

// A day's peak half a degree over the critical limit of newborn kits, 35 °C, on the second day of readings.
func TestPeakOfADay(t *testing.T) {
	const noon = 24*60 + 12*60
	peak := func(top, curve float64) func(int) float64 { // °C an hour each hour
		return func(m int) float64 {
			h := float64(m-noon) / 60
			return max(top-curve*h*h, 25) + dusty(m)
		}
	}
	for name, c := range map[string]struct {
		air    func(int) float64
		age    int
		urgent int
	}{
		"a gentle peak passes by itself":      {peak(35.3, 0.3), 2, 0},
		"a peak a degree over wakes people":   {peak(36.2, 0.15), 2, 1},
		"steep and half a degree over":        {func(m int) float64 { return min(25+0.03*float64(max(m-noon, 0)), 35.6) }, 2, 1},
		"half a degree over without an end":   {func(m int) float64 { return min(25+0.004*float64(m-1), 35.5) + dusty(m) }, 2, 1},
		"falling when a birthday lowers it":   {func(m int) float64 { return min(30+0.004*float64(m), 38.4-0.003*float64(m)) }, 7, 0},
		"not judged by a peak that is unseen": {func(m int) float64 { return map[bool]float64{true: math.NaN(), false: 35.4}[m < 24*60] }, 2, 1},
	} {
		t.Run(name, func(t *testing.T) {
			_, events := trace{minutes: 2 * 24 * 60, litters: newborn(c.age), cluster: nothing, outside: constant(28), air: c.air}.run(t)
			want(t, events, alarm.NestHeat, alarm.Raised, alarm.Urgent, c.urgent)
			if count(events, alarm.NestHeat, alarm.Raised, alarm.Notice) == 0 {
				t.Error("heat is not told at all")
			}
		})
	}
}

// The sun on a metal box makes its air rise alone and steadily. A doe that comes in, a lid that is opened and a morning do not.
func TestSunOnTheNest(t *testing.T) {
	climb := func(m int) float64 { return 25 + 3*min(max(float64(m-120)/60, 0), 3) }
	for name, c := range map[string]struct {
		kind         brood.Kind
		air, outside func(int) float64
		sun          bool
	}{
		"metal in the sun":                {brood.MetalBox, climb, constant(22), true},
		"wood rises slower than 5 K/h":    {brood.WoodenBox, climb, constant(22), false},
		"wood rises faster":               {brood.WoodenBox, func(m int) float64 { return 22 + 6.5*min(max(float64(m-120)/60, 0), 2) }, constant(22), true},
		"the morning warms both":          {brood.MetalBox, climb, func(m int) float64 { return climb(m) - 2 }, false},
		"outside is not known":            {brood.MetalBox, climb, nothing, false},
		"a doe sits in the box":           {brood.MetalBox, func(m int) float64 { return 29 + 5*(1-math.Exp(-float64(min(max(m-120, 0), 40))/8)) }, constant(26), false},
		"the lid is open for ten minutes": {brood.MetalBox, func(m int) float64 { return map[bool]float64{true: 24, false: 31}[m >= 120 && m < 130] }, constant(20), false},
		"a cold morning":                  {brood.MetalBox, func(m int) float64 { return climb(m) - 25 }, constant(-5), false},
	} {
		t.Run(name, func(t *testing.T) {
			_, events := trace{minutes: 300, kind: c.kind, cluster: nothing, air: func(m int) float64 { return c.air(m) + dusty(m) }, outside: c.outside}.run(t)
			sun := false
			for _, e := range events {
				sun = sun || e.Name == alarm.HeatExpected && strings.Contains(e.Text, "Sun is on the nest")
			}
			if sun != c.sun {
				t.Errorf("sun %v, want %v", sun, c.sun)
			}
		})
	}
}

// A trend is enough on the first day: heat is expected an hour and more before the limit.
func TestHeatIsExpectedOnTheFirstDay(t *testing.T) {
	rate := 1.5 / 60 // °C a minute
	_, events := trace{minutes: 600, cluster: nothing, outside: constant(28), air: func(m int) float64 { return min(27+rate*float64(m), 36.5) + dusty(m) }}.run(t)
	crossed := start.Add(time.Duration((35 - 27) / rate * float64(time.Minute)))
	for _, e := range events {
		if e.Name == alarm.HeatExpected && e.State == alarm.Raised {
			if lead := crossed.Sub(e.Time); lead < 45*time.Minute || lead > 2*time.Hour {
				t.Errorf("expected %s before the limit was crossed", lead)
			}
			return
		}
	}
	t.Error("not expected")
}

// Every alarm of heat names its value and its limit in both scales and what the trade does, by kind of nest.
func TestWordsOfHeat(t *testing.T) {
	hot := func(m int) float64 { return min(27+0.03*float64(m), 36.6) }
	acts := map[brood.Kind][]string{
		brood.WoodenBox:  {"open the cover", "screen floor", "shade the box"},
		brood.MetalBox:   {"out of the sun", "open the cover", "screen floor"},
		brood.BuriedTote: {"shade the lid", "pipe"},
	}
	for kind, words := range acts {
		t.Run(string(kind), func(t *testing.T) {
			_, events := trace{minutes: 400, kind: kind, litters: newborn(2), cluster: func(m int) float64 { return hot(m) + 4 }, outside: constant(28), air: hot}.run(t)
			told := map[alarm.Name]bool{}
			for _, e := range events {
				if e.State != alarm.Raised || (e.Name != alarm.NestHeat && e.Name != alarm.ClusterHeat && e.Name != alarm.HeatExpected) {
					continue
				}
				told[e.Name] = true
				all := append([]string{inBoth(e.Value), inBoth(e.Limit), "water"}, words...)
				if e.Name != alarm.HeatExpected {
					all = append(all, "wrapped frozen bottle", "never lay one against naked kits", "Thin the fur", "by evening")
				}
				for _, w := range all {
					if !strings.Contains(strings.ToLower(e.Text), strings.ToLower(w)) {
						t.Errorf("%s at %s does not say %q: %s", e.Name, e.Severity, w, e.Text)
					}
				}
			}
			if len(told) != 3 {
				t.Errorf("only %v were raised", told)
			}
		})
	}
}

func inBoth(c float64) string { return fmt.Sprintf("%.1f °C (%.1f °F)", c, c*9/5+32) }
