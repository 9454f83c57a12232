package sinktest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/sensors"
)

// ReadingRig is a ReadingSink and its far side.
type ReadingRig struct {
	Sink   exporter.ReadingSink
	Far    Far
	Probes []string         // two probes the sink knows; the suite sends temperature and humidity of both
	Got    func() []Arrival // what the far side took, in the order of arrival
}

// Arrival is one value as the far side has it.
type Arrival struct {
	Probe    string
	Quantity sensors.Quantity
	Unix     int64
	Value    float64
}

// ReadingSink checks a ReadingSink. A rig is made for each check.
func ReadingSink(t *testing.T, rig func(t *testing.T) ReadingRig) {
	for _, check := range []struct {
		name string
		do   func(t *testing.T, r ReadingRig)
	}{
		{"everything arrives in order", readingsInOrder},
		{"sending twice is harmless", readingsTwice},
		{"nothing to send is no error", func(t *testing.T, r ReadingRig) {
			if err := r.Far.call(t, ample, func(ctx context.Context) error { return r.Sink.Deliver(ctx, nil) }); err != nil {
				t.Error(err)
			}
		}},
		{"slow is not failed", func(t *testing.T, r ReadingRig) { r.Far.put(t, Slow); readingsInOrder(t, r) }},
		{"after a failure all arrives", func(t *testing.T, r ReadingRig) { readingsAfter(t, r, Fails) }},
		{"after an absence all arrives", func(t *testing.T, r ReadingRig) { readingsAfter(t, r, Absent) }},
		{"a hang ends with the context", func(t *testing.T, r ReadingRig) { readingsAfter(t, r, Hangs) }},
		{"a refusal is final", readingsRefused},
		{"an ended context is an error", func(t *testing.T, r ReadingRig) {
			ctx, cancel := context.WithCancel(t.Context())
			cancel()
			if err := r.Sink.Deliver(ctx, somePolls(r.Probes, 1)); err == nil || exporter.IsPermanent(err) {
				t.Errorf("got %v, want an error that another try can cure", err)
			}
		}},
	} {
		t.Run(check.name, func(t *testing.T) { check.do(t, rig(t)) })
	}
}

func readingsInOrder(t *testing.T, r ReadingRig) {
	polls := somePolls(r.Probes, 5)
	for _, part := range [][]exporter.StoredPoll{polls[:2], polls[2:]} {
		if err := r.deliver(t, ample, part); err != nil {
			t.Fatal(err)
		}
	}
	if diff := firstDiff(r.Got(), arrivals(polls)); diff != "" {
		t.Error(diff)
	}
}

func readingsTwice(t *testing.T, r ReadingRig) {
	polls := somePolls(r.Probes, 3)
	for range 2 {
		if err := r.deliver(t, ample, polls); err != nil {
			t.Fatal(err)
		}
	}
	want := arrivals(polls)
	for _, a := range r.Got() {
		if !slices.Contains(want, a) {
			t.Errorf("arrived %+v, which was never sent", a)
		}
	}
}

func readingsAfter(t *testing.T, r ReadingRig, c Conduct) {
	r.Far.put(t, c)
	polls := somePolls(r.Probes, 3)
	err := r.deliver(t, brief, polls)
	var partly *exporter.PartlyRefused
	if err == nil || exporter.IsPermanent(err) || errors.As(err, &partly) {
		t.Fatalf("while the far side %s: got %v, want an error that another try can cure", c, err)
	}
	r.Far.Set(Accepts)
	if err := r.deliver(t, ample, polls); err != nil {
		t.Fatal(err)
	}
	got := r.Got()
	for _, want := range arrivals(polls) {
		if !slices.Contains(got, want) {
			t.Errorf("%+v did not arrive", want)
		}
	}
}

func readingsRefused(t *testing.T, r ReadingRig) {
	r.Far.put(t, Refuses)
	polls := somePolls(r.Probes, 2)
	err := r.deliver(t, ample, polls)
	var partly *exporter.PartlyRefused
	switch {
	case errors.As(err, &partly):
		n := 0
		for _, p := range partly.Polls {
			n += len(p.Readings)
			if p.Reason == "" {
				t.Errorf("poll %d refused without a reason", p.Key)
			}
		}
		if want := len(arrivals(polls)); n != want {
			t.Errorf("%d readings named as refused, want %d", n, want)
		}
	case !exporter.IsPermanent(err):
		t.Errorf("got %v, want a final error", err)
	}
}

func (r ReadingRig) deliver(t *testing.T, limit time.Duration, polls []exporter.StoredPoll) error {
	t.Helper()
	return r.Far.call(t, limit, func(ctx context.Context) error { return r.Sink.Deliver(ctx, polls) })
}

// somePolls makes n polls, 30 s apart, with values that differ everywhere.
func somePolls(probes []string, n int) []exporter.StoredPoll {
	at := time.Date(2026, 1, 17, 3, 0, 0, 0, time.UTC)
	polls := make([]exporter.StoredPoll, n)
	for i := range polls {
		when := at.Add(time.Duration(i) * 30 * time.Second)
		polls[i] = exporter.StoredPoll{Key: int64(i + 1), Time: when}
		for j, probe := range probes {
			polls[i].Readings = append(polls[i].Readings,
				sensors.Reading{Probe: probe, Quantity: sensors.Temperature, Time: when, Value: 37 - float64(i) - float64(j)/4},
				sensors.Reading{Probe: probe, Quantity: sensors.Humidity, Time: when, Value: 50 + float64(i) + float64(j)/4},
			)
		}
	}
	return polls
}

func arrivals(polls []exporter.StoredPoll) (all []Arrival) {
	for _, p := range polls {
		for _, r := range p.Readings {
			all = append(all, Arrival{r.Probe, r.Quantity, r.Time.Unix(), r.Value})
		}
	}
	return all
}

func firstDiff(got, want []Arrival) string {
	for i := range max(len(got), len(want)) {
		switch {
		case i >= len(got):
			return fmt.Sprintf("%d arrived, want %d; the first missing is %+v", len(got), len(want), want[i])
		case i >= len(want):
			return fmt.Sprintf("%d arrived, want %d; the first too many is %+v", len(got), len(want), got[i])
		case got[i] != want[i]:
			return fmt.Sprintf("arrival %d is %+v, want %+v", i, got[i], want[i])
		}
	}
	return ""
}
