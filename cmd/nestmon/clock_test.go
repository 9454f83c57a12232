package main

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

// leapYears is ten years.
const leapYears = 3652 * 24 * time.Hour

// boardClock is a board's clock that a test sets, as an NTP client would or a chip that fails.
type boardClock struct {
	up   time.Duration
	set  time.Duration // what the clock says beyond the uptime, as time since 1970
	knew bool          // the system reached a server
}

func (b *boardClock) steady() *steadyClock {
	return &steadyClock{
		wall: func() time.Time { return time.Unix(0, 0).UTC().Add(b.set + b.up) }, up: func() time.Duration { return b.up },
		synced: func() (known, reached bool) { return true, b.knew },
	}
}

func (b *boardClock) is(t time.Time) { b.set = t.Sub(time.Unix(0, 0)) - b.up }

// What a clock says, and what is made of it.
func TestSteadyClock(t *testing.T) {
	newest := builtAfter.AddDate(1, 0, 0)
	for name, row := range map[string]struct {
		says  []time.Time // a minute apart
		knew  bool
		want  []time.Duration // from newest
		known bool            // at the last
		away  string
	}{
		"1970, and never set":            {says: []time.Time{time.Unix(5, 0), time.Unix(65, 0)}, want: []time.Duration{0, time.Minute}},
		"1970, then set":                 {says: []time.Time{time.Unix(5, 0), newest.Add(8 * time.Hour)}, want: []time.Duration{0, 8 * time.Hour}},
		"an hour behind, and not set":    {says: []time.Time{newest.Add(-time.Hour)}, want: []time.Duration{0}},
		"ahead, and not set":             {says: []time.Time{newest.Add(time.Hour)}, want: []time.Duration{time.Hour}},
		"behind a leap of long ago":      {says: []time.Time{newest.AddDate(0, 0, -60)}, want: []time.Duration{-60 * 24 * time.Hour}},
		"set":                            {says: []time.Time{newest.Add(time.Hour)}, knew: true, want: []time.Duration{time.Hour}, known: true},
		"set, behind the archive":        {says: []time.Time{newest.Add(-time.Hour)}, knew: true, want: []time.Duration{-time.Hour}, known: true},
		"leaps ten years forward":        {says: []time.Time{newest, newest.Add(leapYears)}, knew: true, want: []time.Duration{0, time.Minute}, known: true, away: "forward by 3652 days"},
		"leaps ten years back":           {says: []time.Time{newest, newest.Add(-leapYears)}, knew: true, want: []time.Duration{0, time.Minute}, known: true, away: "back by 3652 days"},
		"leaps there and back":           {says: []time.Time{newest, newest.Add(leapYears), newest.Add(2 * time.Minute)}, knew: true, want: []time.Duration{0, time.Minute, 2 * time.Minute}, known: true},
		"is set by less than a month":    {says: []time.Time{newest, newest.AddDate(0, 0, 20)}, knew: true, want: []time.Duration{0, 20 * 24 * time.Hour}, known: true},
		"is set back by less than that":  {says: []time.Time{newest, newest.AddDate(0, 0, -2)}, knew: true, want: []time.Duration{0, -2 * 24 * time.Hour}, known: true},
		"leaps and stays for some while": {says: []time.Time{newest, newest.Add(leapYears), newest.Add(leapYears), newest.Add(leapYears)}, knew: true, want: []time.Duration{0, time.Minute, 2 * time.Minute, 3 * time.Minute}, known: true, away: "forward"},
	} {
		t.Run(name, func(t *testing.T) {
			b := &boardClock{knew: row.knew}
			c := b.steady()
			if !row.knew {
				c.Now() // of an archive that is made
			}
			c.knows(newest)
			var known bool
			var now time.Time
			for i, says := range row.says {
				b.up += time.Minute
				b.is(says)
				if now, _, known = c.read(); !now.Equal(newest.Add(row.want[i])) {
					t.Errorf("%s is taken for %s, want %s", says, now, newest.Add(row.want[i]))
				}
			}
			if known != row.known || !strings.Contains(c.away(), row.away) || (c.away() == "") != (row.away == "") {
				t.Errorf("known %v, away %q", known, c.away())
			}
		})
	}
}

// A board starts in 1970 on an archive that ends yesterday, watches for half an hour, is killed, starts again in 1970, and is then set. Nobody hears of probes that were silent, and
// everything measured stands in the archive at the time at which it was measured.
func TestBootIn1970(t *testing.T) {
	s, b := newShed(t), &boardClock{}
	s.live(t, demoStart, demoStart.Add(10*time.Minute), nil)
	boot := demoStart.Add(30 * time.Hour) // when the board really starts
	var events []alarm.Event
	var truly []time.Time
	lives := func(polls int, setAt int) *daemon {
		t.Helper()
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		p := &wallPace{every: s.cfg.Poll, clock: b.steady()}
		at := func() time.Time { return boot.Add(b.up) }
		n := 0
		stepped := &steppedPace{wallPace: p, due: func() bool {
			if n++; n > polls {
				cancel()
				return false
			}
			b.up += 30 * time.Second
			if n == setAt {
				b.is(at())
				b.knew = true
			}
			truly = append(truly, at())
			return true
		}}
		d, err := newDaemon(s.cfg, parts{
			log: slog.New(slog.DiscardHandler), pace: stepped, trusted: p.trusted, opened: p.clock.knows, away: p.clock.away,
			since: func(at time.Time) (string, time.Duration) { return "boot-1", p.up },
			sources: func() ([]sensors.Source, error) {
				source, err := s.demo.story.World.Source(simulatedKind, at, s.demo.probeIDs()...)
				return []sensors.Source{stamped{source, p.Now}}, err
			},
		})
		if err != nil {
			t.Fatal(err)
		}
		d.seen = func(e []alarm.Event) { events = append(events, e...) }
		if err := d.run(ctx); err != nil {
			t.Fatal(err)
		}
		return d
	}
	stop := func(d *daemon) {
		t.Helper()
		ending, done := context.WithTimeout(context.Background(), 10*time.Second)
		defer done()
		if err := d.stop(ending); err != nil {
			t.Fatal(err)
		}
	}
	d := lives(60, 0)
	unset := 0
	if err := d.archive.PollsBetween(demoStart, boot, func(p exporter.StoredPoll) error {
		if p.Readings[0].Unsynced {
			unset++
		}
		return nil
	}); err != nil || unset != len(truly) {
		t.Errorf("%d polls are marked before the clock is set, want %d: %v", unset, len(truly), err)
	}
	if _, _, err := d.enter(d.pace.Now(), []book.Entry{{What: book.BoxIn, Nest: s.cfg.Nests[0].ID}}); err == nil || !strings.Contains(err.Error(), "nobody knows which day it is") {
		t.Errorf("a box of an unknown day is entered: %v", err)
	}
	_, _, err := d.enter(d.pace.Now(), []book.Entry{{What: book.BoxIn, Nest: s.cfg.Nests[0].ID, At: boot.AddDate(0, 0, 1)}})
	if _, forGood := errors.AsType[*book.Refusal](err); !errors.Is(err, errNotYet) || forGood {
		t.Errorf("what a phone sends with its own time: %v", err)
	}
	stop(d)
	d = lives(20, 11)
	defer stop(d)
	var got []time.Time
	if err := d.archive.PollsBetween(demoStart, boot.AddDate(1, 0, 0), func(p exporter.StoredPoll) error {
		if p.Readings[0].Unsynced {
			t.Errorf("poll at %s is still marked", p.Time)
		}
		if !p.Time.Before(boot) {
			got = append(got, p.Time)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if !slices.EqualFunc(got, truly, func(a, b time.Time) bool { return a.Sub(b).Abs() < time.Second }) {
		t.Errorf("polls are at %s, want %s", got, truly)
	}
	for _, e := range events {
		if e.Name == alarm.ProbeSilent || e.Name == alarm.BusFault {
			t.Errorf("%s %s %s at %s", e.Nest, e.Name, e.State, e.Time)
		}
	}
	n := 0
	points, err := d.archive.Series(s.demo.probeIDs()[0], sensors.Temperature, boot.Truncate(time.Hour), boot.Truncate(time.Hour).Add(2*time.Hour), 2)
	for _, p := range points {
		n += p.N
	}
	if err != nil || n != len(truly) {
		t.Errorf("%d readings stand in the graph, want %d: %v", n, len(truly), err)
	}
}

// steppedPace is the pace of run without its waiting.
type steppedPace struct {
	*wallPace
	due func() bool
}

func (p *steppedPace) Due() <-chan time.Time {
	if !p.due() {
		return nil
	}
	return time.After(0)
}

// plainPace is the pace of run by a clock that is right, in a bubble too.
func plainPace(every time.Duration) *wallPace {
	began := time.Now()
	return &wallPace{every: every, clock: &steadyClock{
		wall: time.Now, up: func() time.Duration { return time.Since(began) }, synced: func() (known, reached bool) { return true, true }, at: began, sure: true,
	}}
}
