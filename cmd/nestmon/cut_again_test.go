package main

import (
	"context"
	"log/slog"
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

// A nest's probe falls silent, then its whole line does, and then the daemon starts again: the line still stands for the nest from the first poll on.
// When all answer again, nobody hears of the silence once more.
func TestARestartBehindADeadLineCallsNobody(t *testing.T) {
	s := newShed(t)
	s.cfg.Phone = &phone.Config{Channels: []phone.Channel{{Name: "mobile", URL: secret("http://127.0.0.1:1/"), AtLeast: alarm.Notice}}}
	var titles []string
	at := demoStart
	run := func(long time.Duration, lost func(probe string) bool) {
		t.Helper()
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		p := &stepPace{end: at.Add(long), fin: cancel}
		p.now.Store(&at)
		d, err := newDaemon(s.cfg, parts{
			log: slog.New(slog.DiscardHandler), pace: p, trusted: func(time.Time) bool { return true },
			sources: func() ([]sensors.Source, error) {
				source, err := s.demo.story.World.Source(simulatedKind, p.Now, s.demo.probeIDs()...)
				return []sensors.Source{deafLine{source, lost}}, err
			},
		})
		if err != nil {
			t.Fatal(err)
		}
		if err := d.run(ctx); err != nil {
			t.Fatal(err)
		}
		at = p.Now()
		all, err := d.archive.Pending("mobile", at, 1000)
		if err != nil {
			t.Fatal(err)
		}
		titles = nil
		for _, m := range all {
			titles = append(titles, m.Time.Format("15:04:05 ")+m.Title)
		}
		ending, done := context.WithTimeout(context.Background(), 10*time.Second)
		defer done()
		if err := d.stop(ending); err != nil {
			t.Fatal(err)
		}
	}
	mine := func(probe string) bool { return strings.HasPrefix(probe, "yard-1") }
	run(40*time.Minute, mine)
	run(10*time.Minute, func(string) bool { return true })
	before := len(titles)
	if before != 2 || !strings.Contains(titles[0], "yard-1: no data") || !strings.Contains(titles[1], "bus of probes is dead") {
		t.Fatalf("called %q", titles)
	}
	run(2*time.Minute, func(string) bool { return true })
	if len(titles) != before {
		t.Errorf("called after the restart: %q", titles[before:])
	}
	run(30*time.Minute, func(string) bool { return false })
	for _, title := range titles[before:] {
		if !strings.Contains(title, "Over: ") {
			t.Errorf("called when all answered again: %q", title)
		}
	}
	if len(titles) != before+2 {
		t.Errorf("called %q, want the ends of both", titles[before:])
	}
}
