package sinktest

import (
	"context"
	"slices"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds/alarm"
)

// MessageRig is a MessageSink and its far side.
type MessageRig struct {
	Sink exporter.MessageSink
	Far  Far
	Got  func() []string // the ids or titles of what the far side took, in the order of arrival: Key of each message
	Key  func(exporter.Message) string
}

// MessageSink checks a MessageSink. A rig is made for each check.
func MessageSink(t *testing.T, rig func(t *testing.T) MessageRig) {
	for _, check := range []struct {
		name string
		do   func(t *testing.T, r MessageRig)
	}{
		{"everything arrives in order", messagesInOrder},
		{"slow is not failed", func(t *testing.T, r MessageRig) { r.Far.put(t, Slow); messagesInOrder(t, r) }},
		{"after a failure it arrives", func(t *testing.T, r MessageRig) { messageAfter(t, r, Fails) }},
		{"after an absence it arrives", func(t *testing.T, r MessageRig) { messageAfter(t, r, Absent) }},
		{"a hang ends with the context", func(t *testing.T, r MessageRig) { messageAfter(t, r, Hangs) }},
		{"a refusal is final", func(t *testing.T, r MessageRig) {
			r.Far.put(t, Refuses)
			if err := r.send(t, ample, someMessages()[0]); !exporter.IsPermanent(err) {
				t.Errorf("got %v, want a final error", err)
			}
		}},
		{"an ended context is an error", func(t *testing.T, r MessageRig) {
			ctx, cancel := context.WithCancel(t.Context())
			cancel()
			if err := r.Sink.Send(ctx, someMessages()[0]); err == nil || exporter.IsPermanent(err) {
				t.Errorf("got %v, want an error that another try can cure", err)
			}
		}},
	} {
		t.Run(check.name, func(t *testing.T) { check.do(t, rig(t)) })
	}
}

func messagesInOrder(t *testing.T, r MessageRig) {
	var want []string
	for _, m := range someMessages() {
		if err := r.send(t, ample, m); err != nil {
			t.Fatal(err)
		}
		want = append(want, r.Key(m))
	}
	if got := r.Got(); !slices.Equal(got, want) {
		t.Errorf("arrived %q, want %q", got, want)
	}
}

func messageAfter(t *testing.T, r MessageRig, c Conduct) {
	r.Far.put(t, c)
	m := someMessages()[0]
	if err := r.send(t, brief, m); err == nil || exporter.IsPermanent(err) {
		t.Fatalf("while the far side %s: got %v, want an error that another try can cure", c, err)
	}
	r.Far.Set(Accepts)
	if err := r.send(t, ample, m); err != nil {
		t.Fatal(err)
	}
	if got := r.Got(); !slices.Contains(got, r.Key(m)) {
		t.Errorf("arrived %q, want %q among them", got, r.Key(m))
	}
}

func (r MessageRig) send(t *testing.T, limit time.Duration, m exporter.Message) error {
	t.Helper()
	return r.Far.call(t, limit, func(ctx context.Context) error { return r.Sink.Send(ctx, m) })
}

func someMessages() []exporter.Message {
	at := time.Date(2026, 1, 17, 3, 0, 0, 0, time.UTC)
	return []exporter.Message{
		{ID: "m-1", Time: at, Title: "A1: cluster at 31 °C", Body: "Colder than 33 °C for 5 minutes.", Event: alarm.Event{Time: at, Since: at, Nest: "a1", Name: alarm.ClusterChill, State: alarm.Raised, Severity: alarm.Warning}},
		{ID: "m-2", Time: at.Add(time.Minute), Title: "A1: nest at 36 °C", Body: "Hotter than 35 °C.", Event: alarm.Event{Time: at, Since: at, Nest: "a1", Name: alarm.NestHeat, State: alarm.Raised, Severity: alarm.Urgent}},
		{ID: "m-3", Time: at.Add(2 * time.Minute), Title: "Box B2 due", Body: "Put the box in.", Event: alarm.Event{Time: at, Since: at, Nest: "b2", Name: alarm.BoxDue, State: alarm.Raised, Severity: alarm.Notice}},
	}
}
