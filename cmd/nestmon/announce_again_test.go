package main

import (
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/exporter/phone"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

// onCall is a plan with one contact.
var onCall = calls.Plan{Contacts: []calls.Contact{{Name: "anna", AtLeast: alarm.Warning}}, Digest: calls.Never, AllWell: calls.Never}

func standsSince(at time.Time, nest string, name alarm.Name, severity alarm.Severity) alarm.Standing {
	return alarm.Standing{Event: alarm.Event{Time: at, Since: at, Nest: nest, Name: name, State: alarm.Raised, Severity: severity}}
}

func announcing(t *testing.T, plan calls.Plan, stored []alarm.Standing, kept []byte, now time.Time) *announcer {
	t.Helper()
	a, err := newAnnouncer(plan, stored, kept, now)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// TestSilenceBehindADeadBus: the bus stands for the silence of its nests until that is urgent.
func TestSilenceBehindADeadBus(t *testing.T) {
	now := time.Date(2026, 7, 14, 12, 0, 0, 0, time.UTC)
	a := announcing(t, onCall, nil, nil, now)
	var told []string
	for _, severity := range []alarm.Severity{alarm.Notice, alarm.Warning, alarm.Urgent} {
		now = now.Add(time.Minute)
		silent := standsSince(now, "a1", alarm.ProbeSilent, severity)
		for _, c := range a.step(now, []alarm.Event{silent.Event}, []alarm.Standing{silent}, []string{"a1"}, nil).calls {
			told = append(told, c.About[0].Severity.String())
		}
	}
	if len(told) != 1 || told[0] != "urgent" {
		t.Errorf("told of the silence as %v, want it urgent alone", told)
	}
	silent := standsSince(now, "a1", alarm.ProbeSilent, alarm.Urgent)
	if calls := a.step(now.Add(10*time.Minute), nil, []alarm.Standing{silent}, []string{"a1"}, nil).calls; len(calls) != 1 {
		t.Errorf("repeated by %d calls, want 1", len(calls))
	}
}

// TestAnnouncerGoesOn: what is kept survives a restart.
func TestAnnouncerGoesOn(t *testing.T) {
	begin := time.Date(2026, 7, 14, 12, 0, 0, 0, time.UTC)
	hot := standsSince(begin, "a1", alarm.NestHeat, alarm.Urgent)
	on := []alarm.Standing{hot}
	a := announcing(t, onCall, nil, nil, begin)
	h := a.step(begin, []alarm.Event{hot.Event}, on, nil, nil)
	if len(h.calls) != 1 || !h.changed {
		t.Fatalf("%+v", h)
	}
	for name, row := range map[string]struct {
		kept []byte
		off  time.Duration
		want int // calls in the first step after the restart
	}{
		"at once":                        {a.kept(), 0, 0},
		"before the repeat":              {a.kept(), 9 * time.Minute, 0},
		"after it":                       {a.kept(), 10 * time.Minute, 1},
		"with a clock that began anew":   {a.kept(), -50 * 365 * 24 * time.Hour, 0},
		"with no state, of before calls": {nil, time.Hour, 0},
	} {
		now := begin.Add(row.off)
		b := announcing(t, onCall, h.standing, row.kept, now)
		if got := b.step(now, nil, on, nil, nil).calls; len(got) != row.want {
			t.Errorf("%s: %d calls, want %d", name, len(got), row.want)
		}
		if row.want == 0 {
			if got := b.step(now.Add(10*time.Minute), nil, on, nil, nil).calls; len(got) != 1 || got[0].Why != calls.Again {
				t.Errorf("%s: ten minutes later %v, want a repeat", name, got)
			}
		}
	}
}

// TestAnotherReleasesCalls: what cannot be read is said, and keeps no daemon from watching.
func TestAnotherReleasesCalls(t *testing.T) {
	store, err := archive.Open(filepath.Join(t.TempDir(), "data"), archive.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close() //nolint:errcheck // the end of the test
	now := time.Date(2026, 7, 14, 12, 0, 0, 0, time.UTC)
	hot := standsSince(now, "a1", alarm.NestHeat, alarm.Urgent)
	hot.Status = alarm.Unacknowledged
	if err := store.Commit(exporter.Commit{Time: now, Standing: []alarm.Standing{hot}, StandingChanged: true, Calls: []byte(`{"at": 7}`)}); err != nil {
		t.Fatal(err)
	}
	var log strings.Builder
	cfg := defaultConfig()
	cfg.Nests = []nestConfig{{ID: "a1"}}
	cfg.Phone = &phone.Config{Channels: []phone.Channel{{Name: "mobile"}}}
	a, err := openAnnouncer(store, cfg, now, slog.New(slog.NewTextHandler(&log, nil)))
	if err != nil || !strings.Contains(log.String(), "not understood") {
		t.Fatalf("%v, logged %q", err, log.String())
	}
	if got := a.step(now.Add(10*time.Minute), nil, []alarm.Standing{hot}, nil, nil).calls; len(got) != 1 || got[0].Why != calls.Again {
		t.Errorf("ten minutes later %v, want a repeat", got)
	}
}

// TestVisitsWriteNoCalls: nothing is remembered of what nobody is told, and a nest has visits every day. What waits for the digest is.
func TestVisitsWriteNoCalls(t *testing.T) {
	now := time.Date(2026, 7, 14, 12, 0, 0, 0, time.UTC)
	plan := onCall
	plan.Contacts = []calls.Contact{{Name: "anna", AtLeast: alarm.Notice}}
	a := announcing(t, plan, nil, nil, now)
	a.step(now, nil, nil, nil, nil) // the day's hours that are past are past
	for name, want := range map[alarm.Name]bool{alarm.Visit: false, alarm.Inspection: false, alarm.Kindled: true} {
		now = now.Add(time.Minute)
		e := alarm.Event{Time: now, Since: now, Nest: "a1", Name: name, State: alarm.Noted, Severity: alarm.Notice}
		c := exporter.Commit{Time: now, Events: []alarm.Event{e}}
		a.record(&c, a.step(now, c.Events, nil, nil, nil), nil)
		if got := c.Calls != nil; got != want {
			t.Errorf("after a %s the calls are stored: %v", name, got)
		}
	}
}
