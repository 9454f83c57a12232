package main

import (
	"math"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

// Values by which chips and drivers say that they measured nothing, alone, in bursts and for hours: whatever they look like, they are
// no heat and no chill. 85 °C is the DS18B20's power-on value (datasheet, table 1), 127.94 a failed conversion of its clones, -127
// the usual 'disconnected' of other firmware, 25 the register of a copied chip before it measures.
func TestErrorCodesAreNoHeatAndNoChill(t *testing.T) {
	long(t)
	const hours = 30
	begin := time.Date(2031, time.May, 3, 0, 0, 0, 0, time.UTC)
	patterns := map[string]func(poll int) bool{
		"one in ten":        func(k int) bool { return k%10 == 0 },
		"every other":       func(k int) bool { return k%2 == 0 },
		"bursts of 5 min":   func(k int) bool { return k%120 < 10 },
		"two hours":         func(k int) bool { return k >= 1200 && k < 1440 },
		"once, after dying": func(k int) bool { return k == 1500 },
	}
	silent := func(pattern string, k int) bool { return pattern == "once, after dying" && k >= 1400 && k < 1500 }
	for _, c := range []struct {
		probe, chip string
		value       float64
	}{
		{"cluster", sensors.ChipDS18B20, 85},
		{"cluster", "", 85},
		{"cluster", "", 127.94},
		{"cluster", "", -127},
		{"cluster", "", -273.15},
		{"cluster", "", math.Inf(1)},
		{"air", "", 85},
		{"air", "", -127},
		{"air", "", -45},
		{"air", "", 125},
		{"shade", "", 85},
		{"shade", "", -127},
		{"air", sensors.ChipSHT4x, 130},
		{"cluster", sensors.ChipTMP102, 0},
	} {
		for name, wrong := range patterns {
			if c.chip == sensors.ChipTMP102 && name != "once, after dying" {
				continue // zero is that chip's first value alone
			}
			interval := 30 * time.Second
			var probes []sensors.Probe
			for _, id := range []string{"cluster", "air", "shade"} {
				p := sensors.Probe{ID: id, Quantities: []sensors.Quantity{sensors.Temperature}, Interval: interval, StaleAfter: sensors.DefaultStaleAfter(interval)}
				if id == c.probe {
					p.Chip = c.chip
				}
				probes = append(probes, p)
			}
			j, err := newJudge(thresholds.Config{
				Location: time.UTC, Poll: interval, Outside: "shade", Probes: probes, Limits: brood.DefaultTables(),
				Nests: []nest.Config{{ID: "oak", Kind: brood.WoodenBox, Cluster: []string{"cluster"}, Air: "air"}},
			})
			if err != nil {
				t.Fatal(err)
			}
			j.rabbitry.SetLitters([]litter.Litter{{ID: 1, Nest: "oak", Bred: begin.AddDate(0, 0, -33), Kindled: begin.AddDate(0, 0, -2), Born: 8}}, begin)
			for k := range hours * 120 {
				at := begin.Add(time.Duration(k) * interval)
				batch := make([]sensors.Reading, 0, 3)
				for i, usual := range []float64{35, 20, 16} {
					r := sensors.Reading{Probe: probes[i].ID, Time: at, Value: usual + 0.3*math.Sin(float64(k*(i+3))/40)}
					if r.Probe == c.probe && silent(name, k) {
						r.Fault = sensors.NoAnswer
					} else if r.Probe == c.probe && wrong(k) {
						r.Value = c.value
					}
					batch = append(batch, r)
				}
				for _, e := range j.observe(at, batch) {
					switch e.Name {
					case alarm.NestHeat, alarm.ClusterHeat, alarm.HeatExpected, alarm.DoeHeat, alarm.ClusterChill, alarm.NestCold, alarm.DoeCold, alarm.CheckNest:
						t.Errorf("%s reads %g, %s: %s %s %s: %s", c.probe, c.value, name, e.Name, e.State, e.Severity, e.Text)
					}
				}
			}
		}
	}
}
