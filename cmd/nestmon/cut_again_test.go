package main

import (
	"context"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter/phone"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
)

// deafLine is a line of which some probes do not answer.
type deafLine struct {
	sensors.Source
	lost func(probe string) bool
}

func (l deafLine) Read(ctx context.Context) []sensors.Reading {
	all := l.Source.Read(ctx)
	for i := range all {
		if l.lost(all[i].Probe) {
			all[i].Value, all[i].Fault = 0, sensors.NoAnswer
		}
	}
	return all
}

// deafShed is a shed whose nests are on one line, with a phone that nothing gets through to, one daemon after the other.
type deafShed struct {
	*shed
	at     time.Time
	titles []string // of all that waits for the phone
}

func newDeafShed(t *testing.T) *deafShed {
	t.Helper()
	s := &deafShed{shed: newShed(t), at: demoStart}
	s.cfg.Phone = &phone.Config{Channels: []phone.Channel{{Name: "mobile", URL: secret("http://127.0.0.1:1/"), AtLeast: alarm.Notice}}}
	return s
}

// run lets a daemon run for so long; does, where it is given, is something that a person does after the first poll.
func (s *deafShed) run(t *testing.T, long time.Duration, lost func(probe string) bool, does *alarm.Act) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	p := &stepPace{end: s.at.Add(long), fin: cancel}
	p.now.Store(&s.at)
	d, err := newDaemon(s.cfg, parts{
		log: slog.New(slog.DiscardHandler), pace: p, trusted: func(time.Time) bool { return true },
		sources: func() ([]sensors.Source, error) {
			ids := s.demo.probeIDs() // the first is outside, on a line of its own
			outside, err := s.demo.story.World.Source("outside", p.Now, ids[0])
			if err != nil {
				return nil, err
			}
			nests, err := s.demo.story.World.Source(simulatedKind, p.Now, ids[1:]...)
			return []sensors.Source{outside, deafLine{nests, lost}}, err
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	d.mend = func(time.Time) {
		if does != nil {
			if err := d.act(*does); err != nil {
				t.Error(err)
			}
			does = nil
		}
	}
	if err := d.run(ctx); err != nil {
		t.Fatal(err)
	}
	s.at = p.Now()
	all, err := d.archive.Pending("mobile", s.at, 1000)
	if err != nil {
		t.Fatal(err)
	}
	s.titles = nil
	for _, m := range all {
		s.titles = append(s.titles, m.Time.Format("15:04:05 ")+m.Title)
	}
	ending, done := context.WithTimeout(context.Background(), 10*time.Second)
	defer done()
	if err := d.stop(ending); err != nil {
		t.Fatal(err)
	}
}

func everyProbe(string) bool { return true }

// A nest's probe falls silent, then its whole line does, and then the daemon starts again: the line still stands for the nest from the first poll on.
// When all answer again, nobody hears of the silence once more.
func TestARestartBehindADeadLineCallsNobody(t *testing.T) {
	s := newDeafShed(t)
	s.run(t, 40*time.Minute, func(probe string) bool { return strings.HasPrefix(probe, "yard-1") }, nil)
	s.run(t, 10*time.Minute, everyProbe, nil)
	before := len(s.titles)
	if before != 2 || !strings.Contains(s.titles[0], "yard-1: no data") || !strings.Contains(s.titles[1], "bus of probes is dead") {
		t.Fatalf("called %q", s.titles)
	}
	s.run(t, 2*time.Minute, everyProbe, nil)
	if len(s.titles) != before {
		t.Errorf("called after the restart: %q", s.titles[before:])
	}
	s.run(t, 30*time.Minute, func(string) bool { return false }, nil)
	for _, title := range s.titles[before:] {
		if !strings.Contains(title, "Over: ") {
			t.Errorf("called when all answered again: %q", title)
		}
	}
	if len(s.titles) != before+2 {
		t.Errorf("called %q, want the ends of both", s.titles[before:])
	}
}

// A line's alarm that is out of service calls nobody, and so stands for no nest.
func TestALineOutOfServiceStandsForNoNest(t *testing.T) {
	s := newDeafShed(t)
	s.run(t, 10*time.Minute, func(string) bool { return false }, &alarm.Act{Action: alarm.TakeOut, Event: alarm.BusFault, By: "anna"})
	s.run(t, time.Hour, everyProbe, nil)
	if !slices.ContainsFunc(s.titles, func(title string) bool { return strings.Contains(title, "no data") }) {
		t.Errorf("a dead line without an alarm calls for none of its nests: %q", s.titles)
	}
	if slices.ContainsFunc(s.titles, func(title string) bool { return strings.Contains(title, "bus of probes is dead") }) {
		t.Errorf("the line calls: %q", s.titles)
	}
}
