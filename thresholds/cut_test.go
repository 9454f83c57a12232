package thresholds_test

import (
	"slices"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// The silence of a nest whose line is dead is told of the line, but not where kits are in danger unseen, and not once the line is back.
func TestSilenceOfALineThatIsDead(t *testing.T) {
	const from, lasts = 600, 90 // min
	for _, c := range []struct {
		name    string
		outside float64  // °C
		off     []string // probes that answer nothing from minute from on
		early   []string // probes that have answered nothing for half an hour before it
		again   []string // probes that answer after it
		fault   sensors.Fault
		want    []string // raised, in order, and the minute
	}{
		{"mild weather, all of it", 18, []string{"air", "cluster"}, nil, []string{"air", "cluster"}, sensors.NoAnswer, nil},
		{"frost", 2, []string{"air", "cluster"}, nil, []string{"air", "cluster"}, sensors.NoAnswer, []string{"urgent in it"}},
		{"one of its probes is dead for itself", 18, []string{"air", "cluster"}, []string{"cluster"}, []string{"air"}, sensors.NoAnswer, []string{"notice before it", "warning before it"}},
		{"one stays silent when the line is back", 18, []string{"air", "cluster"}, nil, []string{"air"}, sensors.NoAnswer, []string{"warning after it"}},
		{"nothing of it", 18, []string{"shade"}, nil, []string{"shade"}, sensors.NoAnswer, nil},
		{"one of its probes is at fault for itself", 18, []string{"air", "cluster"}, []string{"cluster"}, []string{"air"}, sensors.StuckLow, []string{"notice before it", "warning before it", "warning before it"}},
		{"what comes of it cannot be true", 18, []string{"air", "cluster"}, nil, []string{"air", "cluster"}, sensors.StuckLow, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := rabbitry(t, brood.WoodenBox)
			r.SetLitters(newborn(5), start)
			var got []string
			for half := range 2 * (from + 2*lasts) {
				at, m := start.Add(time.Duration(half)*30*time.Second), half/2
				var readings []sensors.Reading
				for _, v := range []sensors.Reading{{Probe: "air", Value: 21}, {Probe: "cluster", Value: 35 + dusty(half)}, {Probe: "shade", Value: c.outside}} {
					off := m >= from && m < from+lasts && slices.Contains(c.off, v.Probe) || m >= from-30 && m < from && slices.Contains(c.early, v.Probe)
					if m >= from+lasts && slices.Contains(c.off, v.Probe) && !slices.Contains(c.again, v.Probe) {
						off = true
					}
					if v.Time = at; off {
						v.Value, v.Fault = 0, c.fault
					}
					readings = append(readings, v)
				}
				for _, e := range r.Observe(at, readings) {
					if (e.Name == alarm.ProbeSilent || e.Name == alarm.ProbeFault) && e.Nest != "" && e.State == alarm.Raised {
						when := "in it"
						switch {
						case m < from:
							when = "before it"
						case m >= from+lasts:
							when = "after it"
						}
						got = append(got, e.Severity.String()+" "+when)
					}
				}
				if m >= from && m < from+lasts {
					r.Cut(c.off)
				} else {
					r.Cut(nil)
				}
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}
