package quality_test

import (
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/alarm/quality"
)

// chance makes a week of events as slots make them, and acts of somebody who does anything at any time.
func chance(rng *rand.Rand, nests []string) (events []alarm.Event, acts []alarm.Act) {
	type place struct {
		nest string
		name alarm.Name
	}
	on := map[place]alarm.Severity{}
	names := []alarm.Name{alarm.NestHeat, alarm.ClusterChill, alarm.ProbeSilent, alarm.WeanDue}
	for t := start.Add(-time.Hour); t.Before(start.AddDate(0, 0, 8)); t = t.Add(time.Duration(rng.ExpFloat64() * float64(20*time.Minute))) {
		p := place{nests[rng.IntN(len(nests))], names[rng.IntN(len(names))]}
		if rng.IntN(10) == 0 {
			acts = append(acts, alarm.Act{Action: alarm.Actions[rng.IntN(len(alarm.Actions))], Nest: p.nest, Event: p.name, At: t})
			continue
		}
		e := alarm.Event{Time: t, Since: t, Nest: p.nest, Name: p.name, State: alarm.Raised, Severity: alarm.Notice + alarm.Severity(rng.IntN(3))}
		if on[p] != alarm.None && (rng.IntN(3) > 0 || e.Severity <= on[p]) {
			e.State, e.Severity = alarm.Cleared, on[p]
			delete(on, p)
		} else {
			on[p] = e.Severity
		}
		events = append(events, e)
	}
	return events, acts
}

// Whatever happens: nests and rows add up to the total, what is counted in two ways is the same, and a nest's name changes nothing.
func TestCountsAddUp(t *testing.T) {
	for seed := range uint64(60) {
		rng := rand.New(rand.NewPCG(seed, 7))
		nests := []string{"a1", "b2", "c3", "d4"}
		events, acts := chance(rng, append([]string{""}, nests...))
		in := quality.Input{From: start, To: start.AddDate(0, 0, 7), Location: denver, Nests: nests, Events: events, Acts: acts, ActsSince: start}
		r := quality.Measure(in)
		for name, rows := range map[string][]quality.Row{"nests": r.ByNest, "rows": r.Rows} {
			var sum quality.Row
			for _, row := range rows {
				add(&sum, row)
				if row.Again > row.Alarms || row.Fleeting > row.Alarms || row.Unseen > row.Alarms || row.Chattering*3 > row.Alarms {
					t.Errorf("seed %d: %+v counts more than its alarms", seed, row)
				}
			}
			var total quality.Row
			if add(&total, r.Total); !reflect.DeepEqual(sum, total) {
				t.Fatalf("seed %d: %s add up to %+v, the total is %+v", seed, name, sum, total)
			}
		}
		raised := 0
		for _, e := range events {
			if e.State == alarm.Raised && !e.Name.Chore() && !e.Time.Before(in.From) && e.Time.Before(in.To) {
				raised++
			}
		}
		if got := r.Total.Raised; got.Notice+got.Warning+got.Urgent != raised {
			t.Errorf("seed %d: %+v, %d were raised", seed, got, raised)
		}
		if rate := r.Total.Rate; rate.Low > rate.Value || rate.High < rate.Value {
			t.Errorf("seed %d: %+v", seed, rate)
		}
		other := map[string]string{"": "", "a1": "z9", "b2": "a1", "c3": "m5", "d4": "b2"}
		renamed := in
		renamed.Nests, renamed.Events, renamed.Acts = nil, slices.Clone(events), slices.Clone(acts)
		for _, nest := range slices.Backward(nests) {
			renamed.Nests = append(renamed.Nests, other[nest])
		}
		for i := range renamed.Events {
			renamed.Events[i].Nest = other[events[i].Nest]
		}
		for i := range renamed.Acts {
			renamed.Acts[i].Nest = other[acts[i].Nest]
		}
		s := quality.Measure(renamed)
		var was, is quality.Row
		add(&was, r.Total)
		add(&is, s.Total)
		if !reflect.DeepEqual(was, is) || !reflect.DeepEqual(r.Total.Rate, s.Total.Rate) || !reflect.DeepEqual(r.Total.Waited, s.Total.Waited) ||
			!reflect.DeepEqual(r.Floods, s.Floods) || r.Woken != s.Woken || r.ByHour != s.ByHour || r.WorstDay != s.WorstDay {
			t.Errorf("seed %d: by other names %+v, was %+v", seed, is, was)
		}
	}
}

func add(sum *quality.Row, row quality.Row) {
	sum.Raised.Notice += row.Raised.Notice
	sum.Raised.Warning += row.Raised.Warning
	sum.Raised.Urgent += row.Raised.Urgent
	sum.Alarms += row.Alarms
	sum.Notices += row.Notices
	sum.Chores += row.Chores
	sum.Chattering += row.Chattering
	sum.Again += row.Again
	sum.Fleeting += row.Fleeting
	sum.Stale += row.Stale
	sum.Unseen += row.Unseen
}
