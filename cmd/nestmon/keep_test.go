package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

// A day of the demonstration up to the overheating of the metal box.
var storyFrom, storyEnd = demoStart.Add(36 * time.Hour), demoStart.Add(59 * time.Hour)

// told lives from storyFrom to storyEnd with restarts in between, each after doing something to the shed, and returns all events as
// lines and all that is remembered at the end.
func told(t *testing.T, meanwhile func(s *shed, last *daemon), cuts ...time.Duration) (events, state []byte) {
	t.Helper()
	s := newShed(t)
	s.demo.did = map[place]time.Time{}
	var out bytes.Buffer
	var last *daemon
	from := storyFrom
	for i, cut := range append(cuts, storyEnd.Sub(demoStart)) {
		said, _ := s.live(t, from, demoStart.Add(cut), func(d *daemon) {
			last, s.demo.daemon = d, d
			if i > 0 {
				return
			}
			if err := s.demo.enterLitters(); err != nil {
				t.Fatal(err)
			}
		})
		enc := json.NewEncoder(&out)
		for _, e := range said {
			if err := enc.Encode(e); err != nil {
				t.Fatal(err)
			}
		}
		from = demoStart.Add(cut - s.cfg.Poll) // the poll before was the last
		if meanwhile != nil {
			meanwhile(s, last)
		}
	}
	return out.Bytes(), last.judge.save()
}

// Stopped and started again at any instant, in one case with the state lost since the stop before, as a power cut leaves it, the daemon
// says and remembers what it does when it runs through.
func TestRestartsChangeNothing(t *testing.T) {
	long(t)
	whole, remembered := told(t, nil)
	if bytes.Count(whole, []byte("\n")) < 10 {
		t.Fatalf("the story says too little: %s", whole)
	}
	var older []byte
	powerCut := func(s *shed, _ *daemon) {
		file := filepath.Join(s.cfg.Data, "state")
		newer, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if older != nil {
			if err := os.WriteFile(file, older, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		older = newer
	}
	at := []time.Duration{
		37*time.Hour + 30*time.Second, 37*time.Hour + 14*time.Minute, 41*time.Hour + 59*time.Minute + 30*time.Second,
		42 * time.Hour, 47 * time.Hour, 47*time.Hour + 9*time.Minute + 30*time.Second, 58*time.Hour + 3*time.Minute, 58*time.Hour + 12*time.Minute,
	}
	for name, meanwhile := range map[string]func(*shed, *daemon){"stopped": nil, "power cut": powerCut} {
		t.Run(name, func(t *testing.T) {
			events, state := told(t, meanwhile, at...)
			if !bytes.Equal(events, whole) {
				t.Errorf("the daemon that ran through said\n%s\nthe other one\n%s", whole, events)
			}
			if !bytes.Equal(state, remembered) {
				t.Error("it remembers something else")
			}
		})
	}
}

// What cannot be used is said, and the last day is looked at again: nothing that stood is raised again or over.
func TestUnusableStateFallsBack(t *testing.T) {
	stop := demoStart.Add(59 * time.Hour)
	spoil := func(change func([]byte) []byte) func(*testing.T, *shed) {
		return func(t *testing.T, s *shed) {
			file := filepath.Join(s.cfg.Data, "state")
			b, err := os.ReadFile(file)
			if err = errors.Join(err, os.WriteFile(file, change(b), 0o600)); err != nil {
				t.Fatal(err)
			}
		}
	}
	for i, row := range []struct {
		name, said string
		off        time.Duration
		change     func(*testing.T, *shed)
	}{
		{"a flipped bit", "damaged", 0, spoil(func(b []byte) []byte { b[len(b)/2] ^= 4; return b })},
		{"a torn end", "damaged", 0, spoil(func(b []byte) []byte { return b[:len(b)/3] })},
		{"nothing in it", "damaged", 0, spoil(func([]byte) []byte { return nil })},
		{"another configuration", "another version or for another configuration", 0, func(_ *testing.T, s *shed) { s.cfg.Nests[0].DepthM = 0.7 }},
		{"two days later", "old", 48 * time.Hour, func(*testing.T, *shed) {}},
		{"no state at all", "", 0, func(t *testing.T, s *shed) {
			if err := os.Remove(filepath.Join(s.cfg.Data, "state")); err != nil {
				t.Fatal(err)
			}
		}},
	} {
		if i > 0 && testing.Short() {
			break // the race detector has seen what it can see
		}
		t.Run(row.name, func(t *testing.T) {
			s := newShed(t)
			s.demo.did = map[place]time.Time{}
			_, stood := s.live(t, stop.Add(-3*time.Hour), stop, func(d *daemon) {
				s.demo.daemon = d
				if err := s.demo.enterLitters(); err != nil {
					t.Fatal(err)
				}
			})
			if len(stood) == 0 {
				t.Fatal("nothing stands at the stop")
			}
			row.change(t, s)
			var log bytes.Buffer
			back := stop.Add(row.off)
			events, _ := s.live(t, back, back.Add(5*time.Minute), func(d *daemon) { d.log = slog.New(slog.NewTextHandler(&log, nil)) })
			if row.said == "" && log.Len() > 0 || !strings.Contains(log.String(), row.said) {
				t.Errorf("said %q, want %q", log.String(), row.said)
			}
			for _, e := range events {
				if st := alarm.Find(stood, e.Nest, e.Name); row.off == 0 && st.Severity >= e.Severity {
					t.Errorf("after the restart: %s %s %s %s", e.Nest, e.Name, e.State, e.Severity)
				}
			}
		})
	}
}

// What a person entered after the state was kept is in the book, and counts after a power cut; what was told then stays told.
func TestPowerCutKeepsWhatPeopleEntered(t *testing.T) {
	long(t)
	s := newShed(t)
	s.demo.did = map[place]time.Time{}
	stop := demoStart.Add(58 * time.Hour)
	s.live(t, stop.Add(-30*time.Hour), stop, func(d *daemon) {
		s.demo.daemon = d
		if err := s.demo.enterLitters(); err != nil {
			t.Fatal(err)
		}
	})
	file := filepath.Join(s.cfg.Data, "state")
	older, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var due place
	entered := book.Entry{}
	_, stood := s.live(t, stop, stop.Add(10*time.Minute), func(d *daemon) {
		d.mend = func(now time.Time) {
			if !now.Equal(stop.Add(5 * time.Minute)) {
				return
			}
			for _, st := range d.judge.rabbitry.Standing() {
				if st.Name == alarm.InspectDue && due.event == "" {
					due = place{st.Nest, st.Name}
					if err := d.did(now, st.Nest, st.Name); err != nil {
						t.Fatal(err)
					}
				}
				if st.Name == alarm.NestHeat {
					if err := d.act(alarm.Act{Action: alarm.Acknowledge, Nest: st.Nest, Event: st.Name, By: "anna"}); err != nil {
						t.Fatal(err)
					}
				}
			}
			kindled := slices.IndexFunc(d.Book().Entries(), func(e book.Entry) bool { return e.What == book.Kindled })
			entered = d.Book().Entries()[kindled]
			eleven := 11
			entered.Replaces, entered.Kits = entered.ID, &eleven
			if _, _, err := d.enter(now, []book.Entry{entered}); err != nil {
				t.Fatal(err)
			}
		}
	})
	if due.event == "" {
		t.Fatalf("no inspection is due: %v", stood)
	}
	if err := os.WriteFile(file, older, 0o600); err != nil {
		t.Fatal(err)
	}
	var last *daemon
	back := stop.Add(12 * time.Minute)
	events, after := s.live(t, back, back.Add(5*time.Minute), func(d *daemon) { last = d })
	if st := alarm.Find(after, due.nest, due.event); st.Severity != alarm.None {
		t.Errorf("asked for again: %s", st.Text)
	}
	for _, e := range events {
		if st := alarm.Find(stood, e.Nest, e.Name); st.Severity >= e.Severity {
			t.Errorf("after the restart: %s %s %s %s", e.Nest, e.Name, e.State, e.Severity)
		}
	}
	for _, st := range stood {
		if got := alarm.Find(after, st.Nest, st.Name); !got.Acknowledged.Equal(st.Acknowledged) {
			t.Errorf("%s %s: acknowledged %v, was %v", st.Nest, st.Name, got.Acknowledged, st.Acknowledged)
		}
	}
	for _, n := range last.judge.rabbitry.Snapshot().Nests {
		if n.ID == entered.Nest && n.Litter.Born != 11 {
			t.Errorf("the litter has %d kits, 11 were entered", n.Litter.Born)
		}
	}
}
