package sinktest

import (
	"context"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/brood"
)

// PublisherRig is a Publisher and what can be seen of it.
type PublisherRig struct {
	Sink  exporter.Publisher
	Far   Far
	Shown func() (celsius float64, ok bool) // the air temperature of nest a1 as the sink shows it now, once everything sent has settled
}

// Publisher checks a Publisher. A rig is made for each check, and closed by it.
func Publisher(t *testing.T, rig func(t *testing.T) PublisherRig) {
	for _, check := range []struct {
		name string
		do   func(t *testing.T, r PublisherRig)
	}{
		{"the newest is shown", func(t *testing.T, r PublisherRig) {
			for _, celsius := range []float64{21, 22, 23} {
				r.mustPublish(t, SomeState(celsius, true))
			}
			r.wantShown(t, 23, true)
		}},
		{"what is stale is not shown", func(t *testing.T, r PublisherRig) {
			r.mustPublish(t, SomeState(21, true))
			r.mustPublish(t, SomeState(21, false))
			r.wantShown(t, 0, false)
			r.mustPublish(t, SomeState(22, true))
			r.wantShown(t, 22, true)
		}},
		{"slow is not failed", func(t *testing.T, r PublisherRig) {
			r.Far.put(t, Slow)
			r.mustPublish(t, SomeState(21, true))
			r.wantShown(t, 21, true)
		}},
		{"after a failure the newest is shown", func(t *testing.T, r PublisherRig) { publishAfter(t, r, Fails) }},
		{"after an absence the newest is shown", func(t *testing.T, r PublisherRig) { publishAfter(t, r, Absent) }},
		{"a hang ends with the context", func(t *testing.T, r PublisherRig) { publishAfter(t, r, Hangs) }},
		{"closing while the far side hangs ends with the context", func(t *testing.T, r PublisherRig) {
			r.Far.put(t, Hangs)
			_ = r.Far.call(t, brief, r.Sink.Close)
		}},
	} {
		t.Run(check.name, func(t *testing.T) {
			r := rig(t)
			check.do(t, r)
			_ = r.Far.call(t, ample, r.Sink.Close)
		})
	}
}

func publishAfter(t *testing.T, r PublisherRig, c Conduct) {
	r.Far.put(t, c)
	if err := r.publish(t, brief, SomeState(21, true)); err == nil {
		t.Errorf("while the far side %s: no error", c)
	}
	r.Far.Set(Accepts)
	r.mustPublish(t, SomeState(22, true))
	r.wantShown(t, 22, true)
}

func (r PublisherRig) publish(t *testing.T, limit time.Duration, s *exporter.State) error {
	t.Helper()
	return r.Far.call(t, limit, func(ctx context.Context) error { return r.Sink.Publish(ctx, s) })
}

// mustPublish tries again as the fan-out would: a sink that has just lost its connection may say so a few times.
func (r PublisherRig) mustPublish(t *testing.T, s *exporter.State) {
	t.Helper()
	var err error
	for end := time.Now().Add(tooLong); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		if err = r.publish(t, ample, s); err == nil {
			return
		}
	}
	t.Fatal(err)
}

// wantShown waits for what is shown, since a broker between takes its time.
func (r PublisherRig) wantShown(t *testing.T, celsius float64, ok bool) {
	t.Helper()
	var got float64
	var shown bool
	for end := time.Now().Add(tooLong); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if got, shown = r.Shown(); shown == ok && (!ok || got == celsius) {
			return
		}
	}
	t.Errorf("shown %v (%v), want %v (%v)", got, shown, celsius, ok)
}

// SomeState is a state of one nest, a1, whose air probe a1-air says celsius, fresh or stale.
func SomeState(celsius float64, fresh bool) *exporter.State {
	now := time.Now()
	return &exporter.State{
		Started: now.Add(-time.Hour), Synced: true, Version: "test",
		Snapshot: thresholds.Snapshot{
			Time: now, Season: brood.Winter,
			Nests: []thresholds.NestState{{
				ID: "a1", Kind: brood.WoodenBox, AgeDays: -1, Stage: thresholds.Empty,
				Values: []thresholds.Value{{Role: thresholds.Air, Probe: "a1-air", Quantity: sensors.Temperature, Value: celsius, Time: now, Fresh: fresh}},
			}},
		},
		Probes: []sensors.Health{{Probe: "a1-air", Reads: 10, LastGood: now}},
	}
}
