package main

import (
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
)

// A DS18B20's power-on value, 85.0 °C, alone, in pairs and in a burst, through the screen as the program uses it: no alarm of heat. A
// step of nest air that stays is one.
func TestPowerOnValueIsNoHeat(t *testing.T) {
	for name, c := range map[string]struct {
		hot   func(poll int) (float64, bool)
		worst alarm.Severity
	}{
		"alone":        {func(i int) (float64, bool) { return 85, i == 200 }, alarm.None},
		"now and then": {func(i int) (float64, bool) { return 85, i%7 == 0 }, alarm.None},
		"a burst":      {func(i int) (float64, bool) { return 85, i >= 200 && i < 300 }, alarm.None},
		"a true step":  {func(i int) (float64, bool) { return 36, i >= 200 }, alarm.Urgent},
	} {
		t.Run(name, func(t *testing.T) {
			l := litter{bred: time.Date(2031, 6, 1, 0, 0, 0, 0, time.UTC)}
			l.nest.Kind = "wooden-box"
			l.start = l.bred.Add(runsFrom)
			var probes []sensors.Probe
			for _, id := range []string{firstID, airID, outID} {
				probes = append(probes, sensors.Probe{ID: id, Quantities: sensors.Quantities[:1], Interval: poll, StaleAfter: sensors.DefaultStaleAfter(poll)})
			}
			w, err := newWatcher(oneProbe, &l, probes)
			if err != nil {
				t.Fatal(err)
			}
			worst := alarm.None
			for i := range 500 {
				at := l.start.Add(time.Duration(i) * poll)
				batch := []sensors.Reading{{Probe: firstID, Time: at, Value: 24 + 0.0625*float64(i%2)}, {Probe: airID, Time: at, Value: 24 + 0.125*float64(i%3)}, {Probe: outID, Time: at, Value: 22}}
				if v, hot := c.hot(i); hot {
					batch[0].Value, batch[1].Value = v, v
				}
				for _, e := range w.observe(at, batch, &l) {
					if e.Name == alarm.NestHeat || e.Name == alarm.ClusterHeat || e.Name == alarm.HeatExpected {
						worst = max(worst, e.Severity)
					}
				}
			}
			if worst != c.worst {
				t.Errorf("worst heat alarm %s, want %s", worst, c.worst)
			}
		})
	}
}
