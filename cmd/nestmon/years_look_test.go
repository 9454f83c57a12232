package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"time"

	"nestmon/tests/years/yearstest"
	"nestmon/thresholds/brood"
)

// seenState is what the test reads of /api/state.
type seenState struct {
	Time   time.Time `json:"time"`
	Season string    `json:"season"`
	Nests  []struct {
		ID     string     `json:"id"`
		Kind   brood.Kind `json:"kind"`
		Age    *int       `json:"age_days"`
		Litter *struct {
			Bred    *time.Time `json:"bred"`
			Kindled *time.Time `json:"kindled"`
			Born    *int       `json:"born"`
			Ended   *time.Time `json:"ended"`
		} `json:"litter"`
		Limits map[string]*float64 `json:"limits"`
	} `json:"nests"`
	Alarms []alarmView `json:"alarms"`
}

// command runs one of the program's commands and reads the JSON it prints.
func (y *yard) command(into any, args ...string) {
	y.t.Helper()
	var out, errs strings.Builder
	if code := run(y.t.Context(), args, stdio{out: &out, err: &errs}); code != exitDone {
		y.t.Fatalf("%v: exit %d: %s%s", args, code, out.String(), errs.String())
	}
	if err := json.Unmarshal([]byte(out.String()), into); err != nil {
		y.t.Fatalf("%v: %v in %s", args, err, out.String())
	}
}

func (y *yard) state() (s seenState) {
	y.t.Helper()
	y.poll()
	for !s.Time.Equal(y.pace.Now()) { // what the page shows follows the poll
		if err := call(y.d.cfg.Control).get(y.t.Context(), "/api/state", &s); err != nil {
			y.t.Fatal(err)
		}
	}
	return s
}

// look compares what the daemon decides by with how the nests are that day.
func (y *yard) look(l yearstest.Look) {
	y.t.Helper()
	y.set(l.Day.At(12, y.loc))
	s := y.state()
	due := map[string][]string{}
	for _, a := range s.Alarms {
		if a.Chore && a.Nest != nil && slices.Contains(dated, a.Event) {
			due[*a.Nest] = append(due[*a.Nest], a.Event+" "+a.Severity)
		}
	}
	on := func(t *time.Time) yearstest.Day {
		if t == nil {
			return yearstest.None
		}
		return yearstest.On(*t, y.loc)
	}
	for _, seen := range l.Nests {
		i := slices.IndexFunc(y.story.Nests, func(n *yearstest.Nest) bool { return n.ID == seen.Nest })
		n := s.Nests[i]
		wrong := func(format string, args ...any) {
			y.t.Helper()
			y.t.Errorf("%s, nest %s, litter %d, bred %s, kindled %s: %s", l.Day.Date(), seen.Nest, seen.Litter, seen.Bred.Date(), seen.Kindled.Date(), fmt.Sprintf(format, args...))
		}
		age := l.Day - seen.Kindled
		switch {
		case n.ID != seen.Nest:
			wrong("the state has nest %s in its place", n.ID)
			continue
		case seen.Litter == 0:
			if n.Litter != nil && n.Litter.Ended == nil || n.Age != nil && *n.Age >= 0 && n.Litter != nil && n.Litter.Ended == nil {
				wrong("an empty nest has litter %+v", n.Litter)
			}
			if len(due[n.ID]) > 0 {
				wrong("an empty nest has chores %v", due[n.ID])
			}
			continue
		case seen.Also && age > brood.LastClusterDay:
			continue // which of both counts is nobody's to say
		case n.Litter == nil || on(n.Litter.Bred) != seen.Bred || on(n.Litter.Kindled) != seen.Kindled || n.Litter.Ended != nil:
			wrong("the daemon sees litter %s", asText(y.t, n.Litter))
			continue
		}
		if seen.Alive != yearstest.Unsaid {
			if got, known := y.d.Book().Record(int64(seen.Litter)).Alive(y.pace.Now(), y.loc); !known || got != seen.Alive {
				wrong("%d kits, want %d", got, seen.Alive)
			}
		}
		slices.Sort(due[n.ID])
		if want := dueThen(l.Day, seen, string(n.Kind)); !slices.Equal(due[n.ID], want) {
			wrong("chores %v, want %v", due[n.ID], want)
		}
		if seen.Kindled == yearstest.None {
			continue
		}
		if n.Age == nil || *n.Age != int(age) {
			wrong("age %s, want %d", asText(y.t, n.Age), age)
		}
		if _, out := seen.Marked["remove-box-due"]; out {
			continue // kits whose box is out are in no nest
		}
		if want := y.limits(int(age), string(n.Kind), s.Season); !reflect.DeepEqual(n.Limits, want) {
			wrong("limits %s, want %s", asText(y.t, n.Limits), asText(y.t, want))
		}
	}
}

// limits are those that the command prints.
func (y *yard) limits(age int, kind, season string) map[string]*float64 {
	y.t.Helper()
	var r limitsReport
	y.command(&r, "limits", "--age", fmt.Sprint(age), "--kind", kind, "--season", season, "--json")
	all := map[string]*float64{
		"air_cold_c": &r.NestAir.ColdWarn.C, "air_hot_c": &r.NestAir.HeatWarn.C, "air_hot_urgent_c": &r.NestAir.HeatCritical.C, "cluster_cold_c": nil, "cluster_hot_c": nil,
	}
	if r.Cluster == nil { // the nest is out
		all["air_cold_c"] = nil
	}
	if c := r.Cluster; c != nil {
		all["cluster_cold_c"], all["cluster_hot_c"] = &c.ChillWarn.C, &c.HeatWarn.C
	}
	return all
}

// dated are the chores of the litter clock.
var dated = []string{"box-due", "kindling-overdue", "turn-box-due", "remove-box-due", "collect-due", "wean-due"}

// dueThen is what is due in a nest on a day by the trade's rules (common practice): the box in on day 27 to 29 after breeding, kindling overdue from day 33; the box
// turned on day 14, out on day 28 where it is not summer; kits out of a tote on day 10 to 12, weaned from day 28.
func dueThen(day yearstest.Day, s yearstest.Seen, kind string) (due []string) {
	notice := func(is bool, event string) {
		if is {
			due = append(due, event+" notice")
		}
	}
	late := func(is bool, event string, late bool) {
		if is && late {
			due = append(due, event+" warning")
		} else {
			notice(is, event)
		}
	}
	marked := func(event string) bool {
		_, done := s.Marked[event] // early, too
		return done
	}
	if s.Kindled == yearstest.None {
		carried := day - s.Bred
		late(carried >= 27 && carried <= 35 && !s.Boxed, "box-due", carried >= 29)
		late(carried >= 33, "kindling-overdue", true)
		slices.Sort(due)
		return due
	}
	age := day - s.Kindled
	if kind == "buried-tote" {
		late(age >= 10 && age < 21, "collect-due", age > 12)
	} else {
		notice(age >= 14 && age < 28 && !marked("turn-box-due"), "turn-box-due")
		notice(age >= 28 && !marked("remove-box-due"), "remove-box-due")
	}
	notice(age >= 28, "wean-due")
	slices.Sort(due)
	return due
}

// checkDates compares the calendar of each litter with dates counted where no clock is changed.
func (y *yard) checkDates() {
	y.t.Helper()
	kinds := map[string]string{}
	for _, n := range y.story.Nests {
		kinds[n.ID] = n.Kind
	}
	for _, l := range y.story.Litters {
		args := []string{"calendar", "--bred", l.Bred.Date(), "--kind", kinds[l.Stays[0].Nest], "--json"}
		first, last := l.Bred+31, l.Bred+32 // means of 31.73 and 31.67 days (published)
		if l.Kindled != yearstest.None {
			args = append(args, "--kindled", l.Kindled.Date())
			first, last = l.Kindled, l.Kindled
		}
		var got map[string]any
		y.command(&got, args...)
		span := func(from, to yearstest.Day) any { return map[string]any{"from": from.Date(), "to": to.Date()} }
		want := map[string]any{
			"bred": l.Bred.Date(), "check_pregnancy": span(l.Bred+10, l.Bred+14), "box_due": span(l.Bred+27, l.Bred+29),
			"kindling": map[string]any{"earliest": (l.Bred + 28).Date(), "expected_from": (l.Bred + 31).Date(), "expected_to": (l.Bred + 32).Date(), "latest": (l.Bred + 35).Date()},
			"overdue":  (l.Bred + 33).Date(), "turn_box": (first + 14).Date(), "remove_box": (first + 28).Date(), "collect_from_tote": nil,
			"wean": map[string]any{"from": (first + 28).Date(), "to": (last + 56).Date(), "suggested": (first + 35).Date()},
		}
		if kinds[l.Stays[0].Nest] == "buried-tote" {
			want["turn_box"], want["remove_box"], want["collect_from_tote"] = nil, nil, span(first+10, last+12)
		}
		for _, key := range slices.Sorted(maps.Keys(want)) {
			if !reflect.DeepEqual(got[key], want[key]) {
				y.t.Errorf("litter %d: %s is %v, want %v", l.Number, key, got[key], want[key])
			}
		}
	}
}
