package quality_test

import (
	"slices"
	"strings"
	"testing"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/alarm/quality"
)

// swings makes an alarm that comes again and again, with a limit of 30 °C.
func swings(n int, name alarm.Name, worst alarm.Severity) (all []alarm.Event) {
	for i := range n {
		e := alarm.Event{Time: at(float64(20 * i)), Nest: "a1", Name: name, State: alarm.Raised, Severity: worst, Limit: 30, HasLimit: true, Unit: "C"}
		over := e
		over.State, over.Time = alarm.Cleared, at(float64(20*i+12))
		all = append(all, e, over)
	}
	return all
}

// slow makes one that comes every ten hours for one.
func slow(n int, name alarm.Name) (all []alarm.Event) {
	for i := range n {
		e := alarm.Event{Time: at(float64(600 * i)), Nest: "a1", Name: name, State: alarm.Raised, Severity: alarm.Warning}
		over := e
		over.State, over.Time = alarm.Cleared, at(float64(600*i+60))
		all = append(all, e, over)
	}
	return all
}

func TestAdvice(t *testing.T) {
	long, _ := story(t, "10 a1 tote-wet warning\n10 b2 tote-wet warning")
	brief, _ := story(t, "0 a1 probe-silent warning\n4 a1 probe-silent over\n30 a1 probe-silent warning\n34 a1 probe-silent over\n60 a1 probe-silent warning\n64 a1 probe-silent over")
	// 660 min after noon is 23:00.
	nightly, _ := story(t, `
		660 - power-fault urgent
		700 - power-fault over
		2100 - power-fault urgent
		2140 - power-fault over
		3540 - power-fault urgent
		3580 - power-fault over
		3600 a1 nest-heat urgent
		3700 a1 nest-heat over`)
	for _, row := range []struct {
		name   string
		events []alarm.Event
		want   []string
		not    []string
	}{
		{"a calm week", nil, nil, []string{"a"}},
		{"one that came again twice", swings(3, alarm.NestHeat, alarm.Warning), nil, []string{"came again"}},
		{
			"a limit that can be raised", swings(8, alarm.NestHeat, alarm.Warning),
			[]string{"nest-heat at a1 came again within 10 min of its end 7 times: shade the nest", "raise the limit “hot” of the nest air", "by 0.7 °C (1.3 °F), from 30.0 °C (86.0 °F) to 30.7 °C (87.3 °F)", "8 of 8 alarms were never acknowledged"},
			nil,
		},
		{"what guards life is not loosened", swings(8, alarm.NestHeat, alarm.Urgent), []string{"leave the limit “hot, urgent” of the nest air alone"}, []string{"raise", "lower"}},
		{"cold", swings(8, alarm.NestCold, alarm.Warning), []string{"lower the limit “cold” of the nest air for their age by 0.7 °C (1.3 °F) and see"}, []string{"from 30"}},
		{"an alarm without a limit to set", swings(8, alarm.DoeHeat, alarm.Warning), []string{"give the doe shade"}, []string{"limits"}},
		{"stale", long, []string{"tote-wet stood for more than a day at a1 once, at b2 once: see to drain, vents and bedding. What stands"}, nil},
		{"fleeting", brief, []string{"probe-silent at a1 was over within 5 min, with nobody doing a thing, 3 times of 3: look at its plugs and cables; where a probe is slow by nature, write a longer `interval` and `stale_after`"}, nil},
		{"one that makes all", slow(10, alarm.DoeCold), []string{"doe-cold at a1 made 10 of all 10 alarms: give the doe shelter and dry straw."}, nil},
		{"one that wakes", nightly, []string{"power-fault of the site made 3 of 4 calls at night: charge or exchange the battery, or look at the supply; see whether `battery_low_v` under `site` fits"}, []string{"nest-heat at"}},
		{"nine of it", slow(9, alarm.DoeCold), nil, []string{"made"}},
		{"too many urgent ones", swings(20, alarm.ClusterChill, alarm.Urgent), []string{"20 of 20 were urgent, where one of twenty is plenty: cluster-chill at a1 20 times."}, nil},
	} {
		t.Run(row.name, func(t *testing.T) {
			r := quality.Measure(quality.Input{From: start, To: start.AddDate(0, 0, 7), Location: denver, Nests: []string{"a1"}, Events: row.events, ActsSince: start})
			all := strings.Join(r.Advice, "\n")
			for _, want := range row.want {
				if !strings.Contains(all, want) {
					t.Errorf("%q is not in:\n%s", want, all)
				}
			}
			for _, not := range row.not {
				if strings.Contains(all, not) {
					t.Errorf("%q is in:\n%s", not, all)
				}
			}
		})
	}
}

// Every event that can be an alarm has something to do about it.
func TestEveryAlarmHasAdvice(t *testing.T) {
	for _, name := range alarm.Names {
		if name.Chore() || slices.Contains([]alarm.Name{alarm.Kindled, alarm.Visit, alarm.Inspection}, name) {
			continue
		}
		r := quality.Measure(quality.Input{From: start, To: start.AddDate(0, 0, 7), Events: swings(5, name, alarm.Warning)})
		if all := strings.Join(r.Advice, "\n"); !strings.Contains(all, "came again") || strings.Contains(all, "see what its text says") {
			t.Errorf("%s: %q", name, all)
		}
	}
}
