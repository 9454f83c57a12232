package tests

import (
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/screen"
	"nestmon/thresholds/keep/keeptest"
)

// The screen's neighbours may not look into it, so it is looked into from here.
func TestNothingIsLeftOutOfTheScreensState(t *testing.T) {
	var probes []sensors.Probe
	for _, id := range []string{"shade", "air", "one", "two"} {
		probes = append(probes, sensors.Probe{ID: id, Quantities: sensors.Quantities[:], Interval: time.Minute})
	}
	s := screen.New(probes, screen.Watch{Probes: []string{"shade"}, Outside: true}, screen.Watch{Probes: []string{"air", "one", "two"}})
	s.Apply([]sensors.Reading{{Probe: "air", Value: 20}})
	for _, complaint := range keeptest.Forgotten(s, s.State(), map[string]string{
		"screen.Screen.last":         "where the last reading went, found again",
		"screen.probe.id":            "the configuration",
		"screen.probe.chip":          "the configuration",
		"screen.probe.stale":         "the configuration",
		"screen.probe.outside":       "the configuration",
		"sensors.Offset.Temperature": "the configuration",
		"sensors.Offset.Humidity":    "the configuration",
		"sensors.Offset.Date":        "the configuration",
		"sensors.Offset.Method":      "the configuration",
		"screen.frozen.anew":         "set by each value before it is used",
		"screen.frozen.others":       "the configuration: who watches whom",
		"screen.frozen.seen":         "the configuration: who watches whom",
	}) {
		t.Error(complaint)
	}
}
