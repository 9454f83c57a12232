package main

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/sensors/simulated"
	"nestmon/thresholds/alarm"
)

// stepPace gives polls at once, and ends the daemon at the end.
type stepPace struct {
	now atomic.Pointer[time.Time]
	end time.Time
	fin context.CancelFunc
}

func (p *stepPace) Now() time.Time          { return *p.now.Load() }
func (p *stepPace) Deadline() time.Duration { return time.Minute }

func (p *stepPace) Due() <-chan time.Time {
	if !p.Now().Add(30 * time.Second).Before(p.end) {
		p.fin()
		return nil
	}
	return time.After(0)
}

func (p *stepPace) Begin() time.Time {
	next := p.Now().Add(30 * time.Second)
	p.now.Store(&next)
	return next
}

// shed is the demonstration's world behind a daemon without sinks, on an archive that outlives the daemon.
type shed struct {
	demo demo
	cfg  *config
	anew bool // the daemon ended to be started anew
}

func newShed(t *testing.T) *shed {
	t.Helper()
	story, err := simulated.NewDemo(demoStart)
	if err != nil {
		t.Fatal(err)
	}
	s := &shed{demo: demo{story: story, data: t.TempDir(), listen: "127.0.0.1"}}
	s.cfg = s.demo.config("tcp://127.0.0.1:1", "http://127.0.0.1:1/")
	s.cfg.Publish, s.cfg.Phone = publishConfig{}, nil
	return s
}

// live runs a daemon from one time to another and returns its events and what stood at the end.
func (s *shed) live(t *testing.T, from, to time.Time, before func(d *daemon)) (events []alarm.Event, standing []alarm.Standing) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	p := &stepPace{end: to, fin: cancel}
	p.now.Store(&from)
	d, err := newDaemon(s.cfg, parts{
		log: slog.New(slog.DiscardHandler), pace: p, trusted: func(time.Time) bool { return true },
		sources: func() ([]sensors.Source, error) {
			source, err := s.demo.story.World.Source(simulatedKind, p.Now, s.demo.probeIDs()...)
			return []sensors.Source{source}, err
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	if before != nil {
		before(d)
	}
	d.seen = func(e []alarm.Event) { events = append(events, e...) }
	err = d.run(ctx)
	if s.anew = errors.Is(err, archive.ErrAnew); err != nil && !s.anew {
		t.Fatal(err)
	}
	standing = d.snapshot().Alarms
	ending, done := context.WithTimeout(context.Background(), 10*time.Second)
	defer done()
	if err := d.stop(ending); err != nil {
		t.Fatal(err)
	}
	return events, standing
}

// A restart in the middle of a heat wave forgets nothing: what stood stands, what was seen stays seen, and nothing is raised twice.
func TestRestartForgetsNothing(t *testing.T) {
	long(t)
	s := newShed(t)
	at := func(day, hour int) time.Time {
		return demoStart.AddDate(0, 0, day).Add(time.Duration(hour) * time.Hour)
	}
	s.demo.did = map[place]time.Time{}
	_, before := s.live(t, at(1, 12), at(2, 11), func(d *daemon) {
		s.demo.daemon = d
		if err := s.demo.enterLitters(); err != nil {
			t.Fatal(err)
		}
	})
	stood := map[place]alarm.Severity{}
	for _, st := range before {
		stood[place{st.Nest, st.Name}] = st.Severity
	}
	if stood[place{"yard-1", alarm.NestHeat}] != alarm.Urgent {
		t.Fatalf("the metal box is not overheating at the restart: %v", stood)
	}
	events, after := s.live(t, at(2, 11), at(2, 11).Add(10*time.Minute), func(d *daemon) {
		if err := d.resume(at(2, 11)); err != nil {
			t.Fatal(err)
		}
		if err := d.act(alarm.Act{Action: alarm.Acknowledge, Nest: "yard-1", Event: alarm.NestHeat, By: "anna"}); err != nil {
			t.Fatal(err)
		}
	})
	for _, e := range events {
		if e.State == alarm.Raised && stood[place{e.Nest, e.Name}] >= e.Severity {
			t.Errorf("raised again after the restart: %s %s %s", e.Nest, e.Name, e.Severity)
		}
		if e.State == alarm.Cleared && e.Time.Before(at(2, 11).Add(3*time.Minute)) {
			t.Errorf("cleared by the restart: %s %s", e.Nest, e.Name)
		}
	}
	seen := false
	for _, st := range after {
		seen = seen || st.Nest == "yard-1" && st.Name == alarm.NestHeat && !st.Acknowledged.IsZero()
	}
	if !seen {
		t.Error("the alarm that was seen before is not seen any more")
	}
	// Days later, with kits born meanwhile whose kindling nobody entered.
	s.live(t, at(4, 0), at(5, 6), nil)
	_, _ = s.live(t, at(5, 6), at(5, 6).Add(5*time.Minute), func(d *daemon) {
		if err := d.resume(at(5, 6)); err != nil {
			t.Fatal(err)
		}
		for _, n := range d.judge.rabbitry.Snapshot().Nests {
			if n.ID == "yard-2" && n.AgeDays < 0 {
				t.Error("the kindling that was proposed is forgotten")
			}
		}
	})
}

func TestSpoiltArchiveIsSaid(t *testing.T) {
	s := newShed(t)
	s.live(t, demoStart, demoStart.Add(5*time.Minute), nil)
	if err := os.WriteFile(filepath.Join(s.cfg.Data, "book.db"), []byte(strings.Repeat("no database ", 1000)), 0o600); err != nil {
		t.Fatal(err)
	}
	events, _ := s.live(t, demoStart.Add(5*time.Minute), demoStart.Add(10*time.Minute), nil)
	if !found(events, "", alarm.DaemonFault, alarm.Raised, alarm.Warning, demoStart, demoStart.Add(time.Hour)) {
		t.Errorf("no daemon-fault: %v", events)
	}
	kept, err := filepath.Glob(filepath.Join(s.cfg.Data, "book.db.*"))
	if err != nil || len(kept) == 0 {
		t.Errorf("the spoilt file was not kept: %v %v", kept, errors.Join(err))
	}
}
