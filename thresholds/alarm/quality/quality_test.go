package quality_test

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/alarm/quality"
)

// Noon of an invented Monday in Denver.
var denver = zone("America/Denver")

var start = time.Date(2031, time.January, 6, 12, 0, 0, 0, denver)

func zone(name string) *time.Location {
	loc, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return loc
}

func at(minutes float64) time.Time { return start.Add(time.Duration(minutes * float64(time.Minute))) }

// story reads events from lines such as "12.5 a1 nest-heat urgent" and "30 a1 nest-heat over"; a dash is the site.
func story(t *testing.T, text string) (events []alarm.Event, acts []alarm.Act) {
	t.Helper()
	worst := map[string]alarm.Severity{}
	for line := range strings.Lines(text) {
		var minutes float64
		var nest, name, what string
		if n, _ := fmt.Sscan(line, &minutes, &nest, &name, &what); n != 4 {
			continue
		}
		nest, name = strings.TrimPrefix(nest, "-"), strings.TrimPrefix(name, "all")
		e := alarm.Event{Time: at(minutes), Since: at(minutes - 1), Nest: nest, Name: alarm.Name(name), State: alarm.Raised}
		switch what {
		case "seen", "shelved", "unshelved":
			action := map[string]alarm.Action{"seen": alarm.Acknowledge, "shelved": alarm.Shelve, "unshelved": alarm.Unshelve}[what]
			acts = append(acts, alarm.Act{Action: action, Nest: nest, Event: alarm.Name(name), By: "ann", At: at(minutes)})
			continue
		case "over":
			e.State, e.Severity = alarm.Cleared, worst[nest+name]
		case "noted":
			e.State, e.Severity = alarm.Noted, alarm.Notice
		default:
			if err := e.Severity.UnmarshalText([]byte(what)); err != nil {
				t.Fatal(err)
			}
			worst[nest+name] = e.Severity
		}
		events = append(events, e)
	}
	return events, acts
}

// A week of two nests, worked out by hand.
func TestMeasures(t *testing.T) {
	type counts struct {
		raised                                         string // notices, warnings, urgent
		alarms, notices, chores, chatter, again, brief int
		stale, unseen                                  int
		waited                                         float64 // s, -1 for none
	}
	for _, row := range []struct {
		name, story string
		want        counts
	}{
		{"nothing", "", counts{"0 0 0", 0, 0, 0, 0, 0, 0, 0, 0, -1}},
		{"one that was seen: 4 min from urgent at 20 to 24, of 30 min in all", `
			10 a1 nest-heat warning
			20 a1 nest-heat urgent
			24 a1 nest-heat seen
			40 a1 nest-heat over`, counts{"0 1 1", 1, 0, 0, 0, 0, 0, 0, 0, 240}},
		{"seen before it grew worse counts as not seen", `
			10 a1 nest-heat warning
			12 a1 nest-heat seen
			20 a1 nest-heat urgent
			40 a1 nest-heat over`, counts{"0 1 1", 1, 0, 0, 0, 0, 0, 0, 1, -1}},
		{"seen after its end", `
			10 a1 nest-heat urgent
			40 a1 nest-heat over
			50 a1 nest-heat seen`, counts{"0 0 1", 1, 0, 0, 0, 0, 0, 0, 0, 2400}},
		{"seen only when it had come again: the first never was", `
			10 a1 nest-heat urgent
			40 a1 nest-heat over
			60 a1 nest-heat urgent
			61 a1 nest-heat seen
			90 a1 nest-heat over`, counts{"0 0 2", 2, 0, 0, 0, 0, 0, 0, 1, 60}},
		{"a whole nest is shelved: both have been seen; the median of 10 and 30 min is 20", `
			10 a1 nest-heat urgent
			30 a1 cluster-heat urgent
			40 a1 all shelved
			50 a1 nest-heat over
			50 a1 cluster-heat over`, counts{"0 0 2", 2, 0, 0, 0, 0, 0, 0, 0, 1200}},
		{"an act about the other nest", `
			10 a1 nest-heat urgent
			12 b2 nest-heat seen
			40 a1 nest-heat over`, counts{"0 0 1", 1, 0, 0, 0, 0, 0, 0, 1, -1}},
		{"to unshelve is not to see", `
			10 a1 nest-heat urgent
			12 a1 nest-heat unshelved
			40 a1 nest-heat over`, counts{"0 0 1", 1, 0, 0, 0, 0, 0, 0, 1, -1}},
		{"five minutes are fleeting, a second more is not", `
			10 a1 nest-heat warning
			15 a1 nest-heat over
			40 a1 nest-heat warning
			45.02 a1 nest-heat over`, counts{"0 2 0", 2, 0, 0, 0, 0, 1, 0, 2, -1}},
		{"nothing is fleeting about what somebody answered in time", `
			10 a1 nest-heat warning
			12 a1 nest-heat seen
			14 a1 nest-heat over`, counts{"0 1 0", 1, 0, 0, 0, 0, 0, 0, 0, -1}},
		{"answered too late, it was", `
			10 a1 nest-heat warning
			14 a1 nest-heat over
			15 a1 nest-heat seen`, counts{"0 1 0", 1, 0, 0, 0, 0, 1, 0, 0, -1}},
		{"came again after 10 min, not after a second more", `
			10 a1 nest-heat warning
			20 a1 nest-heat over
			30 a1 nest-heat warning
			40 a1 nest-heat over
			50.02 a1 nest-heat warning
			60 a1 nest-heat over`, counts{"0 3 0", 3, 0, 0, 0, 1, 0, 0, 3, -1}},
		{"three within a minute chatter, and the fourth begins anew", `
			10.0 a1 nest-heat warning
			10.2 a1 nest-heat over
			10.4 a1 nest-heat warning
			10.6 a1 nest-heat over
			11.0 a1 nest-heat warning
			11.1 a1 nest-heat over
			11.2 a1 nest-heat warning
			11.3 a1 nest-heat over`, counts{"0 4 0", 4, 0, 0, 1, 3, 4, 0, 4, -1}},
		{"a day and a minute is stale, whether it is over or not; a day is not", `
			10 a1 nest-cold warning
			11 b2 nest-cold warning
			12 a1 tote-wet warning
			1451 a1 nest-cold over
			1452 a1 tote-wet over`, counts{"0 3 0", 3, 0, 0, 0, 0, 0, 2, 3, -1}},
		{"one that stands since an hour may still be answered", `
			10020 a1 nest-cold warning`, counts{"0 1 0", 1, 0, 0, 0, 0, 0, 0, 0, -1}},
		{"notices and chores are no alarms, a late chore neither", `
			10 a1 nest-cold notice
			11 a1 nest-cold over
			12 a1 nest-cold notice
			20 a1 wean-due warning
			30 a1 kindled noted`, counts{"2 0 0", 0, 2, 1, 0, 0, 0, 0, 0, -1}},
		{"what grows from a notice to a warning is an alarm from then on: over after 4 min of it", `
			10 a1 nest-cold notice
			60 a1 nest-cold warning
			64 a1 nest-cold over`, counts{"1 1 0", 1, 0, 0, 0, 0, 1, 0, 1, -1}},
		{"what began before counts only where it stands too long: a day and 2 min, an hour and a half, and for good", `
			-60 a1 nest-heat warning
			-30 a1 tote-wet warning
			-1 a1 nest-cold warning
			30 a1 nest-heat over
			1441 a1 nest-cold over`, counts{"0 0 0", 0, 0, 0, 0, 0, 0, 2, 0, -1}},
		{"what was over before does not count at all", `
			-3000 a1 nest-heat warning
			-5 a1 nest-heat over`, counts{"0 0 0", 0, 0, 0, 0, 0, 0, 0, 0, -1}},
		{"the end of what nobody saw begin", `
			10 a1 nest-cold over`, counts{"0 0 0", 0, 0, 0, 0, 0, 0, 0, 0, -1}},
		{"one more thing of the same alarm is told, and is the same alarm", `
			10 - sink-fault warning
			20 - sink-fault warning
			40 - sink-fault over`, counts{"0 2 0", 1, 0, 0, 0, 0, 0, 0, 1, -1}},
	} {
		t.Run(row.name, func(t *testing.T) {
			events, acts := story(t, row.story)
			r := quality.Measure(quality.Input{From: start, To: start.AddDate(0, 0, 7), Location: denver, Nests: []string{"a1", "b2"}, Events: events, Acts: acts, ActsSince: start})
			tot := r.Total
			got := counts{
				fmt.Sprint(tot.Raised.Notice, tot.Raised.Warning, tot.Raised.Urgent),
				tot.Alarms, tot.Notices, tot.Chores, tot.Chattering, tot.Again, tot.Fleeting, tot.Stale, tot.Unseen, -1,
			}
			if tot.Waited != nil {
				got.waited = *tot.Waited
			}
			if got != row.want {
				t.Errorf("got %+v, want %+v", got, row.want)
			}
		})
	}
}

// Where nobody noted acts, nothing is said about who has seen what; what came before they were noted is not held against anybody.
func TestUnseenNeedsActs(t *testing.T) {
	events, _ := story(t, "10 a1 nest-heat urgent\n20 a1 nest-heat over\n3000 a1 nest-heat urgent\n3010 a1 nest-heat over")
	for _, row := range []struct {
		since time.Time
		known bool
		want  int
	}{{time.Time{}, false, 0}, {start, true, 2}, {at(60), true, 1}, {start.AddDate(1, 0, 0), false, 0}} {
		r := quality.Measure(quality.Input{From: start, To: start.AddDate(0, 0, 7), Nests: []string{"a1"}, Events: events, ActsSince: row.since})
		if r.ActsKnown != row.known || r.Total.Unseen != row.want {
			t.Errorf("acts since %v: known %v, %d unseen; want %v, %d", row.since, r.ActsKnown, r.Total.Unseen, row.known, row.want)
		}
	}
}

// Of one nest in 14 days with one blind week there is one nest-week, of two nests three; 2 alarms of a1 are 2 a nest-week there.
func TestRates(t *testing.T) {
	events, _ := story(t, "10 a1 nest-heat warning\n60 a1 nest-heat over\n90 a1 nest-heat warning\n150 a1 nest-heat over\n160 - bus-fault warning")
	in := quality.Input{
		From: start, To: start.AddDate(0, 0, 14), Location: denver, Nests: []string{"a1", "b2"}, Events: events,
		Blind: []quality.Blind{{"a1", start.AddDate(0, 0, 7), start.AddDate(0, 0, 15)}, {"b2", at(60), at(60 + 179)}},
	}
	r := quality.Measure(in)
	near := func(name string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 0.005 {
			t.Errorf("%s is %.4f, want %.4f", name, got, want)
		}
	}
	near("nest-weeks", r.NestWeeks, 3-179.0/60/168)
	if !r.Few {
		t.Error("less than three nest-weeks are few")
	}
	near("a1", r.ByNest[1].Rate.Value, 2)
	near("its low end", r.ByNest[1].Rate.Low, 0.2422)
	near("its high end", r.ByNest[1].Rate.High, 7.2247)
	near("all", r.Total.Rate.Value, 3/r.NestWeeks)
	near("b2, without any: high end", r.ByNest[2].Rate.High, 3.6889/(2-179.0/60/168))
	if r.ByNest[0].Rate != nil {
		t.Errorf("the site has no nest-weeks, and a rate of %+v", r.ByNest[0].Rate)
	}
	near("alarms a day", r.PerDay, 3.0/14)
	if r.WorstDay != 3 {
		t.Errorf("%d alarms on the worst day, want 3", r.WorstDay)
	}
	// a1 has nothing from the noon of the 13th on, eleven and a half hours more of it on the 20th; b2 lacks a minute to three hours.
	if got := r.NotJudged; len(got) != 8 || got[0].Date.Day() != 13 || got[7].Date.Day() != 20 || !reflect.DeepEqual(got[0].Nests, []string{"a1"}) {
		t.Errorf("not judged: %v", got)
	}
	if r = quality.Measure(quality.Input{From: start, To: start, Nests: []string{"a1"}}); r.Total.Rate != nil || r.PerDay != 0 {
		t.Errorf("no time at all: %+v", r.Total)
	}
}

// The limits are those of R 4.2.2, poisson.test(n)$conf.int, rounded to four places.
func TestIntervalIsThatOfR(t *testing.T) {
	week := 7 * 24 * time.Hour
	for n, want := range map[int][2]float64{
		0: {0, 3.6889}, 1: {0.0253, 5.5716}, 2: {0.2422, 7.2247}, 3: {0.6187, 8.7673}, 5: {1.6235, 11.6683}, 10: {4.7954, 18.3904},
		25: {16.1787, 36.9049}, 137: {115.0205, 161.9564}, 1000: {938.9730, 1063.9521},
	} {
		var events []alarm.Event
		for i := range n {
			e := alarm.Event{Time: start.Add(time.Duration(i) * time.Minute), Nest: "a1", Name: alarm.NestHeat, State: alarm.Raised, Severity: alarm.Warning}
			over := e
			over.State, over.Time = alarm.Cleared, e.Time.Add(time.Second)
			events = append(events, e, over)
		}
		got := quality.Measure(quality.Input{From: start, To: start.Add(week), Nests: []string{"a1"}, Events: events}).Total.Rate
		if got.Value != float64(n) || math.Abs(got.Low-want[0]) > 5e-5 || math.Abs(got.High-want[1]) > 5e-5 {
			t.Errorf("%d: %+v, want %v", n, *got, want)
		}
	}
}

// Eleven alarms in ten minutes are a flood and ten are none; what goes on is one flood, what comes an hour later another.
func TestFloods(t *testing.T) {
	for _, row := range []struct {
		name  string
		times []float64 // min
		want  []quality.Flood
	}{
		{"ten", []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9}, nil},
		{"eleven in exactly ten minutes", []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10}, []quality.Flood{{at(0), at(10), 11}}},
		{"eleven in a little more", []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10.1}, nil},
		{"thirteen a minute apart", []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}, []quality.Flood{{at(0), at(12), 13}}},
		{
			"twice",
			[]float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 9, 60, 60, 61, 61, 62, 62, 63, 63, 64, 64, 65, 65},
			[]quality.Flood{{at(0), at(9), 11}, {at(60), at(65), 12}},
		},
	} {
		var events []alarm.Event
		for i, m := range row.times {
			events = append(events, alarm.Event{Time: at(m), Nest: fmt.Sprint("n", i), Name: alarm.NestHeat, State: alarm.Raised, Severity: alarm.Warning})
		}
		if got := quality.Measure(quality.Input{From: start, To: at(120), Events: events}).Floods; !reflect.DeepEqual(got, row.want) {
			t.Errorf("%s: got %v, want %v", row.name, got, row.want)
		}
	}
}

// Local time decides what is night: 22:00 is, 06:00 is not. What follows within ten minutes wakes nobody once more.
func TestCalls(t *testing.T) {
	events, _ := story(t, `
		599 a1 nest-heat urgent
		600 b2 nest-heat urgent
		700 a1 nest-heat over
		720 a1 nest-heat warning
		725 a1 nest-heat urgent
		735 - power-fault urgent
		736 b2 cluster-heat urgent
		746.1 b2 cluster-chill urgent
		1079.9 a1 cluster-chill urgent
		1100 b2 doe-cold urgent
		1200 a1 wean-due urgent`)
	in := quality.Input{From: start, To: start.AddDate(0, 0, 7), Location: denver, Nests: []string{"a1", "b2"}, Events: events}
	call := func(m float64, nest string, name alarm.Name, night bool) quality.Call {
		return quality.Call{At: at(m), Nest: nest, Event: name, Night: night}
	}
	for _, row := range []struct {
		name  string
		woken []time.Time
		want  []quality.Call
		night int
	}{
		// Noon and 599 min are 21:59, so 600 is 22:00 and within the call before; 1079.9 is 05:59, 1100 is 06:20.
		{"worked out", nil, []quality.Call{
			call(599, "a1", alarm.NestHeat, false), call(725, "a1", alarm.NestHeat, true), call(746.1, "b2", alarm.ClusterChill, true),
			call(1079.9, "a1", alarm.ClusterChill, true), call(1100, "b2", alarm.DoeCold, false),
		}, 3},
		{"as somebody else says", []time.Time{at(737), at(599.5), at(1080)}, []quality.Call{
			call(599.5, "a1", alarm.NestHeat, false), call(737, "b2", alarm.ClusterHeat, true), call(1080, "a1", alarm.ClusterChill, false),
		}, 1},
		{"nobody was called", []time.Time{}, nil, 0},
		{"outside of the span", []time.Time{start.Add(-time.Second), start.AddDate(0, 0, 7)}, nil, 0},
	} {
		in.Woken = row.woken
		r := quality.Measure(in)
		if !reflect.DeepEqual(r.Calls, row.want) || r.Woken != row.night {
			t.Errorf("%s: %d at night of %v, want %d of %v", row.name, r.Woken, r.Calls, row.night, row.want)
		}
		sum := 0
		for _, n := range r.ByHour {
			sum += n
		}
		if sum != len(row.want) || len(row.want) > 3 && (r.ByHour[21] != 1 || r.ByHour[0] != 2 || r.ByHour[5] != 1) {
			t.Errorf("%s: by hour %v", row.name, r.ByHour)
		}
	}
}

func TestHeardLeavesStretches(t *testing.T) {
	var h quality.Heard
	for _, m := range []float64{0, 1, 59, 60, 240, 250} { // noon, one o'clock, four o'clock
		h.Hear("a1", at(m))
	}
	got := h.Blind([]string{"a1", "b2"}, at(30), at(330))
	want := []quality.Blind{{"a1", at(120), at(240)}, {"b2", at(30), at(330)}} // half an hour at the end is no stretch
	if len(got) != 2 || !got[0].From.Equal(want[0].From) || !got[0].To.Equal(want[0].To) || !reflect.DeepEqual(got[1], want[1]) {
		t.Errorf("got %v, want %v", got, want)
	}
}
