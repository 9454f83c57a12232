package main

import (
	"context"
	"testing"
	"time"

	"nestmon/sensors/simulated"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

// TestDemoTellsItsStory runs the demonstration's world through the daemon's own judge and looks for what it is there to show.
// The world is simulated; what it says of real nests is nothing.
func TestDemoTellsItsStory(t *testing.T) {
	long(t)
	story, err := simulated.NewDemo(demoStart)
	if err != nil {
		t.Fatal(err)
	}
	d := demo{story: story, data: t.TempDir(), listen: "127.0.0.1"}
	j, err := newJudge(d.config("tcp://127.0.0.1:1", "http://127.0.0.1:1/").rabbitry())
	if err != nil {
		t.Fatal(err)
	}
	var book []litter.Litter
	for i, l := range story.Litters {
		entry := litter.Litter{ID: int64(i + 1), Nest: l.Nest, Bred: l.Bred}
		if !l.Kindled.After(demoStart) {
			entry.Kindled, entry.Born = l.Kindled, l.Kits
		}
		book = append(book, entry)
	}
	j.rabbitry.SetLitters(book, demoStart)
	now := demoStart
	source, err := story.World.Source(simulatedKind, func() time.Time { return now }, d.probeIDs()...)
	if err != nil {
		t.Fatal(err)
	}
	var events []alarm.Event
	for ; now.Before(story.End); now = now.Add(30 * time.Second) {
		events = append(events, j.observe(now, source.Read(context.Background()))...)
	}
	day := func(n, hour int) time.Time { return demoStart.AddDate(0, 0, n).Add(time.Duration(hour) * time.Hour) }
	for name, want := range map[string]struct {
		nest     string
		event    alarm.Name
		state    alarm.State
		atLeast  alarm.Severity
		from, to time.Time
	}{
		"the metal box overheats":             {"yard-1", alarm.NestHeat, alarm.Raised, alarm.Urgent, day(2, 8), day(2, 13)},
		"it was expected":                     {"yard-1", alarm.HeatExpected, alarm.Raised, alarm.Warning, day(2, 6), day(2, 11)},
		"and it recovers":                     {"yard-1", alarm.NestHeat, alarm.Cleared, alarm.Warning, day(2, 13), day(2, 23)},
		"the doe suffers in the heat":         {"", alarm.DoeHeat, alarm.Raised, alarm.Warning, day(2, 10), day(3, 18)},
		"a litter appears":                    {"yard-2", alarm.Kindled, alarm.Noted, alarm.Notice, day(4, 21), day(5, 0)},
		"a pile chills":                       {"north-2", alarm.ClusterChill, alarm.Raised, alarm.Warning, day(7, 1), day(7, 4)},
		"and recovers":                        {"north-2", alarm.ClusterChill, alarm.Cleared, alarm.Warning, day(7, 4), day(7, 9)},
		"bedding comes due on day 14":         {"north-1", alarm.BeddingDue, alarm.Raised, alarm.Notice, day(3, 0), day(4, 1)},
		"a blocked vent is found":             {"north-1", alarm.VentilationDue, alarm.Raised, alarm.Warning, day(4, 10), day(5, 9)},
		"the box is due before the kindling":  {"yard-2", alarm.BoxDue, alarm.Raised, alarm.Notice, day(0, 0), day(1, 0)},
		"winter make-up before a hard freeze": {"", alarm.SeasonSetupDue, alarm.Raised, alarm.Notice, day(5, 0), day(7, 0)},
	} {
		if !found(events, want.nest, want.event, want.state, want.atLeast, want.from, want.to) {
			t.Errorf("%s: no %s %s of %q at %s or above between %s and %s", name, want.event, want.state, want.nest, want.atLeast,
				want.from.Format("2 15:04"), want.to.Format("2 15:04"))
		}
	}
	for _, e := range events {
		if e.Severity == alarm.Urgent && e.State == alarm.Raised && e.Nest != "yard-1" && e.Nest != "north-2" {
			t.Errorf("woke the keeper for nothing: %s %s %s at %s", e.Nest, e.Name, e.Text, e.Time.Format("2 15:04"))
		}
	}
}

func found(events []alarm.Event, nest string, name alarm.Name, state alarm.State, atLeast alarm.Severity, from, to time.Time) bool {
	for _, e := range events {
		if e.Nest == nest && e.Name == name && e.State == state && e.Severity >= atLeast && !e.Time.Before(from) && e.Time.Before(to) {
			return true
		}
	}
	return false
}
