package thresholds_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/nest"
)

func doubted(r *thresholds.Rabbitry, probe string, why nest.Doubt) bool {
	return slices.Contains(r.Snapshot().Doubts, thresholds.Doubt{Probe: probe, Why: why})
}

// Water on the sensor of a box reads 100 % on a warm day, when the air could hold three times what the air outside brings. Fog, a freeze and a
// tote do not.
func TestWaterOnAHumiditySensor(t *testing.T) {
	day := func(h float64) float64 { return 22 + 4*math.Sin(2*math.Pi*h/24) } // 18 to 26 °C: room for 6 to 15 g/m³ over dry air of 9
	wetBox := func(h float64) air { return air{day(h), 100} }
	dry := func(h float64) air { return holding(day(h)-2, 6) }
	for _, row := range []struct {
		name    string
		kind    brood.Kind
		hours   int
		air     func(h float64) air
		outside func(h float64) air
		want    bool
	}{
		{"a warm dry day", brood.WoodenBox, 30, wetBox, dry, true},
		{"not for long enough", brood.WoodenBox, 11, wetBox, dry, false},
		{"it dries now and then", brood.WoodenBox, 60, func(h float64) air {
			if int(h)%8 == 7 {
				return air{day(h), 90}
			}
			return wetBox(h)
		}, dry, false},
		{"a damp day", brood.WoodenBox, 60, wetBox, func(h float64) air { return holding(day(h), 16) }, false},
		{"fog in the cold", brood.MetalBox, 60, calm(4, 100), calm(3, 100), false},
		{"nothing known of the humidity outside", brood.WoodenBox, 60, wetBox, func(h float64) air { return air{day(h), 0} }, false},
		{"a tote", brood.BuriedTote, 60, wetBox, dry, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			r, events := damp{nest: nest.Config{Kind: row.kind}, age: 5, hours: row.hours, air: row.air, outside: row.outside}.run(t)
			raised := 0
			for _, e := range events {
				if e.Name == alarm.ProbeFault && e.State == alarm.Raised {
					raised++
					if e.Severity != alarm.Notice || e.Probe != "air" || !strings.Contains(e.Text, "water on the sensor") || e.Rule == "" {
						t.Errorf("got %+v", e)
					}
				}
			}
			if got := doubted(r, "air", nest.DoubtWet); got != row.want || (raised == 1) != row.want {
				t.Errorf("doubted %v, raised %d times, want %v", got, raised, row.want)
			}
		})
	}
}

func TestADriedSensorIsTrustedAgain(t *testing.T) {
	d := damp{nest: nest.Config{Kind: brood.WoodenBox}, age: -1, hours: 30, air: calm(24, 100), outside: func(float64) air { return holding(22, 6) }}
	r, _ := d.run(t)
	if !doubted(r, "air", nest.DoubtWet) {
		t.Fatal("the wet sensor is not doubted")
	}
	d.air, d.hours = calm(24, 60), 1
	events := d.through(r, 30)
	if doubted(r, "air", nest.DoubtWet) {
		t.Error("still doubted")
	}
	want(t, events, alarm.ProbeFault, alarm.Cleared, alarm.Notice, 1)
}

// A connection that goes shows by readings that are missed a few at a time; a plug that is pulled and a bus that hangs are another alarm's.
func TestAConnectionThatGoes(t *testing.T) {
	for _, row := range []struct {
		name   string
		missed func(n int) sensors.Fault // by the number of the reading, one every 30 s
		want   alarm.Severity
	}{
		{"one in twenty", func(n int) sensors.Fault { return when(n%20 == 0, sensors.NoAnswer) }, alarm.Notice},
		{"one in twenty garbled", func(n int) sensors.Fault { return when(n%20 == 0, sensors.BadChecksum) }, alarm.Notice},
		{"two in five", func(n int) sensors.Fault { return when(n%5 < 2, sensors.NoAnswer) }, alarm.Warning},
		{"one in a hundred", func(n int) sensors.Fault { return when(n%100 == 0, sensors.NoAnswer) }, alarm.None},
		{"the bus comes late", func(n int) sensors.Fault { return when(n%4 == 0, sensors.TimedOut) }, alarm.None},
		{"pulled for an hour, twice a day", func(n int) sensors.Fault { return when(n%1440 > 1320, sensors.NoAnswer) }, alarm.None},
	} {
		t.Run(row.name, func(t *testing.T) {
			r := rabbitry(t, brood.WoodenBox)
			worst := alarm.None
			for n := range 2 * 2880 {
				at := start.Add(time.Duration(n) * 30 * time.Second)
				for _, e := range r.Observe(at, []sensors.Reading{
					{Probe: "air", Time: at, Value: 20 + dusty(n), Fault: row.missed(n)}, {Probe: "shade", Time: at, Value: 15 + dusty(n)},
				}) {
					if e.Name == alarm.ProbeFault && e.State == alarm.Raised {
						worst = max(worst, e.Severity)
						if !strings.Contains(e.Text, "cable or a plug is going") || e.Rule == "" {
							t.Errorf("got %+v", e)
						}
					}
				}
			}
			if worst != row.want || doubted(r, "air", nest.DoubtFailing) != (row.want > alarm.None) {
				t.Errorf("got %v, doubts %v; want %v", worst, r.Snapshot().Doubts, row.want)
			}
		})
	}
}

func when(missed bool, f sensors.Fault) sensors.Fault {
	if missed {
		return f
	}
	return ""
}

func TestEveryDoubtHasItsProbe(t *testing.T) {
	r := rabbitry(t, brood.WoodenBox)
	for n := range 40 {
		at := start.Add(time.Duration(n) * 30 * time.Second)
		r.Observe(at, []sensors.Reading{
			{Probe: "air", Time: at, Fault: sensors.NoAnswer}, {Probe: "shade", Time: at, Fault: sensors.StuckLow},
		})
	}
	if !doubted(r, "air", nest.DoubtSilent) || !doubted(r, "shade", nest.DoubtFault) || !doubted(r, "shade", nest.DoubtSilent) || doubted(r, "air", nest.DoubtFault) {
		t.Errorf("got %v", r.Snapshot().Doubts)
	}
}
