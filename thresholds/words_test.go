package thresholds_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

// raised runs a course and gives the first raised event of a name.
func raised(t *testing.T, tr trace, name alarm.Name) alarm.Event {
	t.Helper()
	_, events := tr.run(t)
	_, e := first(events, name)
	if e.Name == "" {
		t.Fatalf("no %s", name)
	}
	return e
}

// A value that prints as its limit does is told to be just beyond it.
func TestValueThatPrintsAsItsLimit(t *testing.T) {
	tables := brood.DefaultTables()
	lim := tables.Air(2, brood.Mild)
	for name, c := range map[string]struct {
		trace
		event alarm.Name
		says  string
	}{
		"heat": {
			trace{minutes: 180, litters: newborn(2), cluster: nothing, air: constant(lim.HeatWarn.C + 0.04), outside: constant(20)},
			alarm.NestHeat,
			fmt.Sprintf(", just over the limit %.1f °C", lim.HeatWarn.C),
		},
		"heat, plainly over": {
			trace{minutes: 180, litters: newborn(2), cluster: nothing, air: constant(lim.HeatWarn.C + 0.3), outside: constant(20)},
			alarm.NestHeat,
			fmt.Sprintf(", limit %.1f °C", lim.HeatWarn.C),
		},
		"cold": {
			trace{minutes: 180, litters: newborn(2), air: constant(lim.ColdWarn.C - 0.04), outside: constant(10)},
			alarm.NestCold,
			fmt.Sprintf(", just under the limit %.1f °C", lim.ColdWarn.C),
		},
		"nobody looked": {
			trace{minutes: 8 * 60, litters: newborn(5), air: constant(20), outside: constant(15)}, alarm.InspectDue, "limit 14 h",
		},
	} {
		t.Run(name, func(t *testing.T) {
			if e := raised(t, c.trace, c.event); !strings.Contains(e.Text, c.says) {
				t.Errorf("%q does not say %q", e.Text, c.says)
			}
		})
	}
}

func TestSilenceSaysItsLimitInSeconds(t *testing.T) {
	e := raised(t, trace{minutes: 60, cluster: constant(30), outside: constant(15), air: func(m int) float64 {
		if m > 30 {
			return nothing(m)
		}
		return 20 + dusty(m)
	}}, alarm.ProbeSilent)
	if !strings.Contains(e.Text, "limit 90 s") || !strings.Contains(e.Rule, "older than 90 s") {
		t.Errorf("%q, rule %q", e.Text, e.Rule)
	}
}

// A probe that shows little of the pile says how little, and over which hours: those before the birth tell nothing of kits.
func TestLittleWarmthSaysSinceWhen(t *testing.T) {
	air := func(m int) float64 { return 20 + dusty(m) }
	book := newborn(0)
	book[0].Kindled = start.Add(11 * time.Hour)
	_, events := trace{minutes: 14 * 60, litters: book, air: air, cluster: func(m int) float64 { return air(m) + 1.9 }, outside: constant(15)}.run(t)
	_, e := first(events, alarm.CheckNest)
	for _, want := range []string{"probe not on the pile: cluster probe 2", ", nest air 20.", "; in most of the last 11 hours under 12 % of a warm pile's warmth over nest air, some of them before the birth. Chill cannot be judged."} {
		if !strings.Contains(e.Text, want) {
			t.Errorf("%q does not say %q", e.Text, want)
		}
	}
}

// What is done for a hot nest fits what is in it. Nobody knows of kits that may have been born since day 27.
func TestHotNestWithoutKits(t *testing.T) {
	for name, c := range map[string]struct {
		litters     []litter.Litter
		says, hides string
	}{
		"no litter entered": {nil, "Thin the fur", "coming kits"},
		"kits":              {newborn(3), "Thin the fur", "coming kits"},
		"long before":       {bred(20), "coming kits", "the fur"},
		"any day now":       {bred(30), "If kits are there already", "Thin the fur over the kits"},
	} {
		t.Run(name, func(t *testing.T) {
			e := raised(t, trace{minutes: 60, litters: c.litters, cluster: nothing, air: constant(36), outside: constant(30)}, alarm.NestHeat)
			if !strings.Contains(e.Text, c.says) || strings.Contains(e.Text, c.hides) || !strings.Contains(e.Text, "doe water") {
				t.Errorf("%q, want %q and not %q", e.Text, c.says, c.hides)
			}
		})
	}
}

func TestCollectSaysHowToEnterIt(t *testing.T) {
	e := raised(t, trace{minutes: 60, kind: brood.BuriedTote, litters: newborn(10), air: constant(12), outside: constant(10)}, alarm.CollectDue)
	if !strings.Contains(e.Text, "enter in the litter book how many came to which place") || strings.Contains(e.Text, "`") { // the page has no commands
		t.Errorf("%q", e.Text)
	}
}

// An inspection that is due stands through the night, in which nobody is asked for it, and is over when somebody has looked.
func TestInspectionStandsThroughTheNight(t *testing.T) {
	r := damp{nest: nest.Config{}, age: 5}.start(t)
	var events []alarm.Event
	for m := range 3 * 24 * 60 {
		at := start.Add(time.Duration(m) * time.Minute)
		if at.Equal(start.Add(58 * time.Hour)) {
			if err := r.Done("oak", alarm.InspectDue, at); err != nil {
				t.Fatal(err)
			}
		}
		events = append(events, r.Observe(at, []sensors.Reading{{Probe: "air", Time: at, Value: 20 + dusty(m)}, {Probe: "shade", Time: at, Value: 15 + dusty(m+1)}})...)
	}
	var changes []string
	for _, e := range events {
		if e.Name == alarm.InspectDue {
			changes = append(changes, fmt.Sprintf("%s %s %.0f h", e.State, e.Severity, e.Time.Sub(start).Hours()))
		}
	}
	if got, want := strings.Join(changes, ", "), "raised notice 6 h, cleared notice 58 h"; got != want {
		t.Errorf("%s; want %s", got, want)
	}
}
