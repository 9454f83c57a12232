package main

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// Hours without power, and the daemon is back: nothing calls for help about a silence that is over, and a dead bus that was told of
// before is not said to be well while it is dead.
func TestHoursWithoutPower(t *testing.T) {
	s := newShed(t)
	s.live(t, demoStart, demoStart.Add(2*time.Hour), nil)
	back := demoStart.Add(5 * time.Hour)
	events, _ := s.live(t, back, back.Add(10*time.Minute), nil)
	for _, e := range events {
		if e.Name == alarm.ProbeSilent || e.Name == alarm.CheckNest || e.State == alarm.Cleared {
			t.Errorf("after the power came back: %s %s %s %s", e.Nest, e.Name, e.State, e.Severity)
		}
	}
}

// The weather that made the season, and the chore that was done for it, are known after a restart.
func TestRestartKnowsTheSeason(t *testing.T) {
	long(t)
	s := newShed(t)
	end := demoStart.AddDate(0, 0, 6).Add(10 * time.Hour) // after the night of the sudden freeze
	_, standing := s.live(t, demoStart.AddDate(0, 0, 4), end, nil)
	due := 0
	for _, st := range standing {
		if st.Name == alarm.SeasonSetupDue {
			due++
		}
	}
	if due != 1 {
		t.Fatalf("the freeze asks for %d set-ups: %v", due, standing)
	}
	done := func(d *daemon) {
		if err := d.resume(end); err != nil {
			t.Fatal(err)
		}
		if err := d.did(end, "", alarm.SeasonSetupDue); err != nil {
			t.Fatal(err)
		}
	}
	s.live(t, end, end.Add(5*time.Minute), done)
	s.live(t, end.Add(5*time.Minute), end.Add(54*time.Hour), nil)
	events, _ := s.live(t, end.Add(54*time.Hour), end.Add(64*time.Hour), func(d *daemon) {
		if err := d.resume(end.Add(54 * time.Hour)); err != nil {
			t.Fatal(err)
		}
		if got := d.judge.rabbitry.Snapshot().Season; got != brood.Winter {
			t.Errorf("season %s after the restart", got)
		}
	})
	for _, e := range events {
		if e.Name == alarm.SeasonSetupDue && e.State == alarm.Raised {
			t.Errorf("the set-up that was done is asked for again: %s", e.Text)
		}
	}
}

// What changed while the card could not be written is stored when it can be again, though nothing changes any more.
func TestStandingIsStoredOnceTheCardIsBack(t *testing.T) {
	s := newShed(t)
	s.live(t, demoStart, demoStart.Add(time.Minute), func(d *daemon) {
		d.judge.rabbitry.Restore([]alarm.Standing{{Event: alarm.Event{Time: demoStart, Nest: "yard-1", Name: alarm.NestHeat, State: alarm.Raised, Severity: alarm.Urgent}}})
		unwritable := alarm.Event{Time: demoStart, Name: alarm.NestHeat, HasValue: true, Value: math.NaN()}
		d.announce(exporter.Commit{Time: demoStart, Events: []alarm.Event{unwritable}})
		if stored, err := d.archive.Standing(); err != nil || len(stored) != 0 {
			t.Fatalf("stored although it could not be: %v %v", stored, err)
		}
		d.announce(exporter.Commit{Time: demoStart.Add(time.Second)})
		if stored, err := d.archive.Standing(); err != nil || len(stored) != 1 {
			t.Errorf("the alarm that stands is not stored: %v %v", stored, err)
		}
	})
}

// A clock that stays unset is said, and so is one more part that fails beside one that failed before.
func TestFaultsOfTheDaemonItself(t *testing.T) {
	s := newShed(t)
	s.live(t, demoStart, demoStart.Add(time.Minute), func(d *daemon) {
		var b faultBook
		b.clock(false, demoStart)
		if c, text := b.daemonWords(d, demoStart.Add(clockPatience/2)); c.Severity != alarm.None {
			t.Errorf("said at once: %s", text)
		}
		c, text := b.daemonWords(d, demoStart.Add(clockPatience))
		if c.Severity != alarm.Notice || c.Count != 1 || !strings.Contains(text, "clock") {
			t.Errorf("an unset clock: %+v %q", c, text)
		}
		b.storing(errors.New("no space left"), demoStart.Add(clockPatience))
		c, text = b.daemonWords(d, demoStart.Add(clockPatience))
		if c.Severity != alarm.Warning || c.Count != 2 || !c.Since.Equal(demoStart) || !strings.Contains(text, "no space left") || !strings.Contains(text, "clock") {
			t.Errorf("a full card beside it: %+v %q", c, text)
		}
		b.clock(true, demoStart.Add(clockPatience))
		if c, text = b.daemonWords(d, demoStart.Add(clockPatience)); c.Count != 1 || strings.Contains(text, "clock") {
			t.Errorf("the clock set: %+v %q", c, text)
		}
		d.power = func() bool { return true }
		for name, say := range map[string]func(*daemon, time.Time) (alarm.Condition, string){"archive": b.daemonWords, "power": powerWords} {
			if c, text := say(d, demoStart); c.Rule == "" || c.Source == "" || !strings.Contains(text, ". ") {
				t.Errorf("%s: rule %q, source %q, %q: want all three, and what to do in the last", name, c.Rule, c.Source, text)
			}
		}
	})
}

// How well its probe lies on a litter is learned over hours. It is not learned anew after a restart, though nobody entered the kindling.
func TestRestartKnowsTheProbe(t *testing.T) {
	long(t)
	s := newShed(t)
	s.demo.did = map[place]time.Time{}
	end := demoStart.AddDate(0, 0, 6)
	var before *daemon
	s.live(t, demoStart.AddDate(0, 0, 3), end, func(d *daemon) { // a day and more before the kindling
		before, s.demo.daemon = d, d
		if err := s.demo.enterLitters(); err != nil {
			t.Fatal(err)
		}
	})
	core := func(d *daemon) float64 {
		for _, n := range d.judge.rabbitry.Snapshot().Nests {
			if n.ID == "yard-2" && n.HasCore && n.Litter != nil {
				return n.Core
			}
		}
		t.Fatal("yard-2 is not judged")
		return 0
	}
	var after *daemon
	s.live(t, end, end.Add(2*time.Minute), func(d *daemon) { after = d })
	if was, is := core(before), core(after); math.Abs(was-is) > 1 {
		t.Errorf("the core is judged at %.1f °C, before the restart at %.1f", is, was)
	}
}
