package sensors_test

import (
	"math"
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
	if math.Abs(got.Errors-0.5) > 0.01 { // two of four within a minute
		t.Errorf("share of errors: got %v, want 0.5", got.Errors)
	}
	if len(got.Latest) != 1 || got.Latest[0].Value != 36.1 {
		t.Errorf("newest reading: got %+v", got.Latest)
	}
	if !got.LastGood.Equal(now.Add(time.Minute)) || got.LastFault != sensors.StuckLow || !got.FaultAt.Equal(now.Add(30*time.Second)) {
		t.Errorf("newest: got %+v", got)
	}
}

func TestErrorsFadeAndTheArchiveTellsNothingOfThem(t *testing.T) {
	tr := sensors.NewTracker([]sensors.Probe{{ID: "a1"}})
	now := time.Date(2031, 3, 9, 6, 0, 0, 0, time.UTC)
	tr.Recall([]sensors.Reading{{Probe: "a1", Time: now.Add(-time.Hour), Value: 36}, {Probe: "a1", Time: now, Fault: sensors.NoAnswer}})
	if got := tr.Health()[0]; got.Reads != 0 || len(got.Latest) != 0 || !got.LastGood.Equal(now.Add(-time.Hour)) {
		t.Errorf("after a recall: got %+v", got)
	}
	share := func() float64 { return tr.Health()[0].Errors }
	read := func(minutes int, f sensors.Fault) {
		for range 2 * minutes {
			now = now.Add(30 * time.Second)
			tr.Observe([]sensors.Reading{{Probe: "a1", Time: now, Value: 36, Fault: f}})
		}
	}
	read(600, "")
	read(60, sensors.NoAnswer)
	if got, want := share(), 1-math.Exp(-1); math.Abs(got-want) > 0.01 { // of a leaky sum with a time constant of one hour
		t.Errorf("after an hour of failures: got %.3f, want %.3f", got, want)
	}
	read(600, "")
	if got := share(); got > 0.001 {
		t.Errorf("ten hours later: got %v", got)
	}
}
