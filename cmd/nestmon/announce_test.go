package main

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/phone"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/calls"
	"nestmon/thresholds/nest"
)

// flock is some boxes with a probe in the air of each, judged and announced as the daemon does it, on a clock of its own.
type flock struct {
	t     *testing.T
	judge *judge
	teach *announcer
	plan  calls.Plan
	wall  time.Time
	leapt func(time.Time) time.Time // what the board believes of it
	air   func(box int, since time.Duration) float64
	boxes int
	since time.Duration // true time that has passed
	said  []exporter.Message
	log   []alarm.Event
	words phone.Writer
}

const flockPoll = 30 * time.Second

func newFlock(t *testing.T, boxes int, air func(box int, since time.Duration) float64) *flock {
	t.Helper()
	cfg := phone.Config{Channels: []phone.Channel{{Name: "mobile"}}}
	f := &flock{
		t: t, boxes: boxes, air: air, plan: cfg.Plan(time.UTC), wall: time.Date(2031, 7, 1, 12, 0, 0, 0, time.UTC),
		words: phone.Writer{Config: cfg}, leapt: func(t time.Time) time.Time { return t },
	}
	domain := thresholds.Config{Location: time.UTC, Poll: flockPoll, Limits: brood.DefaultTables()}
	for i := range boxes {
		id := fmt.Sprintf("box-%d", i)
		domain.Probes = append(domain.Probes, sensors.Probe{
			ID: id, Quantities: []sensors.Quantity{sensors.Temperature}, Interval: flockPoll, StaleAfter: sensors.DefaultStaleAfter(flockPoll),
		})
		domain.Nests = append(domain.Nests, nest.Config{ID: id, Kind: brood.WoodenBox, Air: id})
	}
	var err error
	if f.judge, err = newJudge(domain); err != nil {
		t.Fatal(err)
	}
	if f.teach, err = newAnnouncer(f.plan, nil, nil, f.wall); err != nil {
		t.Fatal(err)
	}
	return f
}

// run lets polls come for so long. Only the announcer hears of a clock that leaps, which times without the runtime's clock cannot show the judge: to it
// a leap were a long silence.
func (f *flock) run(long time.Duration) {
	for end := f.since + long; f.since < end; f.since += flockPoll {
		f.wall = f.wall.Add(flockPoll)
		readings := make([]sensors.Reading, f.boxes)
		for i := range readings {
			readings[i] = sensors.Reading{Probe: fmt.Sprintf("box-%d", i), Quantity: sensors.Temperature, Time: f.wall, Value: f.air(i, f.since)}
		}
		events := slices.Clone(f.judge.observe(f.wall, readings))
		f.log = append(f.log, events...)
		now := f.leapt(f.wall)
		f.teach.at = now.Add(-flockPoll) // as the runtime's clock would have it
		f.hear(f.teach.step(now, events, f.judge.rabbitry.Standing(), nil, nil))
	}
}

func (f *flock) hear(h heard) {
	for _, c := range h.calls {
		f.said = append(f.said, f.words.Write(c, f.wall, f.teach.show(f.judge.rabbitry.Snapshot())))
	}
}

func (f *flock) do(a alarm.Act) {
	f.t.Helper()
	a.At = f.leapt(f.wall)
	h, err := f.teach.act(a.At, a, f.judge.rabbitry.Standing(), nil)
	if err != nil {
		f.t.Fatal(err)
	}
	f.hear(h)
}

// restart goes through what the archive would hold.
func (f *flock) restart() {
	f.t.Helper()
	standing, quiet := f.teach.panel.Merge(f.judge.rabbitry.Standing())
	next, err := newAnnouncer(f.plan, append(standing, quiet...), f.teach.kept(), f.leapt(f.wall))
	if err != nil {
		f.t.Fatal(err)
	}
	f.teach = next
}

func (f *flock) titles() (all []string) {
	for _, m := range f.said {
		all = append(all, m.Time.Format("15:04:05 ")+m.Title)
	}
	return all
}

// A signal that swings round the limit by less than the deadband for a day calls once at most, at any pace (rule of the house; the deadband, 0.7 K,
// lies wholly on the side of the end). It begins under the limit.
func TestASwingingSignalCallsOnce(t *testing.T) {
	long(t)
	tables := brood.DefaultTables()
	limit := tables.Air(0, brood.Mild).HeatWarn.C // of an age that is not known
	for _, period := range []time.Duration{4 * time.Minute, 7 * time.Minute, 41 * time.Minute, 3 * time.Hour, 11 * time.Hour} {
		t.Run(period.String(), func(t *testing.T) {
			const swing = 0.9 * brood.Deadband
			f := newFlock(t, 1, func(_ int, since time.Duration) float64 {
				return limit - swing*math.Cos(2*math.Pi*since.Hours()/period.Hours())
			})
			f.run(24 * time.Hour)
			raised := 0
			for _, e := range f.log {
				if e.State == alarm.Raised && e.Name == alarm.NestHeat {
					raised++
				}
			}
			if raised > 1 || len(f.said) > 1 {
				t.Errorf("raised %d times, called %d times:\n%q", raised, len(f.said), f.titles())
			}
		})
	}
	t.Run("one that swings farther is told, and told as over", func(t *testing.T) {
		f := newFlock(t, 1, func(_ int, since time.Duration) float64 {
			return limit - 2*brood.Deadband*math.Cos(2*math.Pi*since.Hours()/6)
		})
		f.run(7 * time.Hour)
		if len(f.said) != 2 || f.said[0].Event.State != alarm.Raised || f.said[1].Event.State != alarm.Cleared {
			t.Errorf("called %d times: %q", len(f.said), f.titles())
		}
	})
}

// Thirty nests that alarm at once are ten messages at most, whether it comes over them together or one after another, and once somebody has
// answered there is none more until something new happens.
func TestThirtyNestsAtOnceAreFewMessages(t *testing.T) {
	for name, lag := range map[string]time.Duration{"together": 0, "one after another": 40 * time.Second, "slowly": 90 * time.Second} {
		t.Run(name, func(t *testing.T) {
			f := newFlock(t, 30, func(box int, since time.Duration) float64 {
				return min(25+max(0, (since-time.Duration(box)*lag).Minutes())*0.8, 42)
			})
			f.run(time.Hour)
			urgent := 0
			for _, st := range f.judge.rabbitry.Standing() {
				if st.Name == alarm.NestHeat && st.Severity == alarm.Urgent {
					urgent++
				}
			}
			if lag == 0 && urgent != 30 {
				t.Fatalf("%d nests are too hot, want 30", urgent)
			}
			if n := len(f.said); n > 10 || n == 0 {
				t.Errorf("%d messages in the first hour: %q", n, f.titles())
			}
			told := map[string]bool{}
			for _, m := range f.said {
				for _, e := range append(m.About, m.Event) {
					told[e.Nest] = true
				}
			}
			for _, st := range f.judge.rabbitry.Standing() {
				if st.Severity == alarm.Urgent && !told[st.Nest] && f.since-st.Time.Sub(f.wall.Add(-f.since)) > 11*time.Minute {
					t.Errorf("nobody was told of %s", st.Nest)
				}
			}
			if lag > 0 {
				return
			}
			for box := range 30 {
				f.do(alarm.Act{Action: alarm.Acknowledge, Nest: fmt.Sprintf("box-%d", box), By: "anna"})
			}
			before := len(f.said)
			f.run(2 * time.Hour)
			if n := len(f.said) - before; n > 1 {
				t.Errorf("%d messages after everything was acknowledged: %q", n, f.titles()[before:])
			}
		})
	}
}

// The wall clock leaps by ten years and back while an urgent alarm stands: it is repeated as before, nothing is told as over, a shelf lasts
// as long as it was meant to, and no leap calls more than the digest or the daily message it passes.
func TestTheClockLeaps(t *testing.T) {
	leaps := map[string][2]int{"forward": {10, 0}, "back": {-10, 0}, "forward and back": {10, -10}, "back and forward": {-10, 10}}
	for name, years := range leaps {
		t.Run(name, func(t *testing.T) {
			f := newFlock(t, 2, func(box int, since time.Duration) float64 { return min(25+since.Minutes(), 40) })
			f.run(45 * time.Minute)
			f.do(alarm.Act{Action: alarm.Shelve, Nest: "box-1", Event: alarm.NestHeat, For: time.Hour, By: "anna"})
			for _, y := range years {
				before, by := f.leapt, y
				f.leapt = func(t time.Time) time.Time { return before(t).AddDate(by, 0, 0) }
				said := len(f.said)
				f.run(25 * time.Minute)
				repeats := 0
				for _, m := range f.said[said:] {
					switch {
					case m.Event.State == alarm.Cleared:
						t.Errorf("told as over: %s", m.Title)
					case m.Kind == exporter.Repeat:
						repeats++
						if m.Event.Nest != "box-0" || len(m.About) > 1 {
							t.Errorf("the shelf ended early: %s", m.Title)
						}
					}
				}
				if repeats < 2 || repeats > 3 {
					t.Errorf("%d repeats in 25 min of an alarm nobody has acknowledged: %q", repeats, f.titles()[said:])
				}
			}
			before := len(f.said)
			f.run(25 * time.Minute)
			if !slices.ContainsFunc(f.said[before:], func(m exporter.Message) bool {
				return m.Event.Nest == "box-1" || slices.ContainsFunc(m.About, func(e alarm.Event) bool { return e.Nest == "box-1" })
			}) {
				t.Errorf("the shelf has not ended: %q", f.titles()[before:])
			}
		})
	}
}

// A restart at any minute changes nothing of who is called, and when.
func TestARestartCallsAsBefore(t *testing.T) {
	air := func(box int, since time.Duration) float64 {
		return 25 + 14*math.Abs(math.Sin(since.Hours()/3+float64(box)/2))
	}
	through := newFlock(t, 7, air)
	through.run(5 * time.Hour)
	restarted := newFlock(t, 7, air)
	for range 300 {
		restarted.run(time.Minute)
		restarted.restart()
	}
	if a, b := through.titles(), restarted.titles(); !slices.Equal(a, b) || len(a) < 10 {
		t.Errorf("without restarts:\n%q\nwith:\n%q", a, b)
	}
}

// The shape of what is stored is known to no one else; that it can be read again is all that counts. An unreadable one is said.
func TestUnreadableCallsAreSaid(t *testing.T) {
	if _, err := newAnnouncer(calls.Plan{}, nil, []byte("{"), demoStart); err == nil {
		t.Error("half of a state was taken")
	}
	a, err := newAnnouncer(calls.Plan{}, nil, nil, demoStart)
	if err != nil {
		t.Fatal(err)
	}
	if !json.Valid(a.kept()) {
		t.Error("what is kept is no JSON")
	}
}
