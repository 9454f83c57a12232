package sensors_test

import (
	"testing"
	"time"

	"nestmon/sensors"
)

func TestTrackerCountsEveryReasonFromTheStart(t *testing.T) {
	tr := sensors.NewTracker([]sensors.Probe{{ID: "a1"}, {ID: "a2"}})
	now := time.Date(2031, 3, 9, 6, 0, 0, 0, time.UTC)
	before := tr.Health()
	tr.Observe([]sensors.Reading{
		{Probe: "a1", Time: now, Value: 36},
		{Probe: "a1", Time: now.Add(30 * time.Second), Fault: sensors.StuckLow},
		{Probe: "a1", Time: now.Add(20 * time.Second), Fault: sensors.TimedOut}, // late, older
		{Probe: "a1", Time: now.Add(time.Minute), Value: 36.1},
		{Probe: "stranger", Time: now, Value: 1},
	})
	after := tr.Health()
	if len(before) != 2 || before[0].Probe != "a1" || before[1].Probe != "a2" {
		t.Fatalf("got %+v, want both probes in order", before)
	}
	if len(before[1].Rejected) != len(sensors.Faults) {
		t.Errorf("%d reasons are known before the first fault, want all %d", len(before[1].Rejected), len(sensors.Faults))
	}
	if n := before[0].Rejected[sensors.StuckLow]; n != 0 {
		t.Errorf("an earlier answer changed afterwards: %d", n)
	}
	got := after[0]
	if got.Reads != 4 || got.Rejected[sensors.StuckLow] != 1 || got.Rejected[sensors.TimedOut] != 1 {
		t.Errorf("counts: got %+v", got)
	}
	if !got.LastGood.Equal(now.Add(time.Minute)) || got.LastFault != sensors.StuckLow || !got.FaultAt.Equal(now.Add(30*time.Second)) {
		t.Errorf("newest: got %+v", got)
	}
}
