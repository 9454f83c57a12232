package main

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
)

// hotBoxes is four boxes in which it is too hot.
type hotBoxes struct{ swinging }

func (h hotBoxes) Read(ctx context.Context) []sensors.Reading {
	all := h.swinging.Read(ctx)
	for i := range all {
		all[i].Value = 42
	}
	return all
}

// Killed after the first poll of every life, the daemon calls for heat no later than one that lives.
func TestKilledAfterEveryPoll(t *testing.T) {
	cfg, at, raised := victimConfig(t, t.TempDir(), "http://127.0.0.1:1/"), demoStart, map[string]time.Time{}
	for at.Before(demoStart.Add(20*time.Minute)) && len(raised) < len(cfg.Nests) {
		ctx, cancel := context.WithCancel(t.Context())
		p := &stepPace{fin: cancel, end: at.Add(2 * stepOf)}
		p.now.Store(&at)
		d, err := newDaemon(cfg, parts{
			log: slog.New(slog.DiscardHandler), pace: p, trusted: func(time.Time) bool { return true },
			sources: func() ([]sensors.Source, error) {
				return []sensors.Source{hotBoxes{swinging{p.Now, cfg.probes()}}}, nil
			},
		})
		if err != nil {
			t.Fatal(err)
		}
		d.seen = func(events []alarm.Event) {
			for _, e := range events {
				if e.Name == alarm.NestHeat && e.State == alarm.Raised && e.Severity == alarm.Urgent {
					raised[e.Nest] = e.Time
				}
			}
		}
		if err := d.run(ctx); err != nil {
			t.Fatal(err)
		}
		at = p.Now()
		ending, done := context.WithTimeout(context.Background(), 10*time.Second)
		if err := d.stop(ending); err != nil {
			t.Fatal(err)
		}
		done()
		cancel()
		if err := os.Remove(filepath.Join(cfg.Data, "state")); err != nil { // who is killed keeps none
			t.Fatal(err)
		}
	}
	if len(raised) != len(cfg.Nests) {
		t.Errorf("called for %d of %d nests: %v", len(raised), len(cfg.Nests), raised)
	}
	for nest, when := range raised {
		if when.Sub(demoStart) > 13*time.Minute {
			t.Errorf("%s: called after %s", nest, when.Sub(demoStart))
		}
	}
}
