package litter_test

import (
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

func chores(l litter.Litter, kind brood.Kind, season brood.Season, now time.Time, loc *time.Location) []litter.Due {
	c := litter.Clock{Days: shipped(), Litter: l, Kind: kind, Season: season, Loc: loc}
	return c.Chores(now)
}

func TestChoresByDay(t *testing.T) {
	loc := zone(t, "Europe/Berlin")
	start := at(t, "2025-03-10T20:00:00+01:00") // the clocks change on day 20
	bred := litter.Litter{Bred: start}
	kindled := litter.Litter{Bred: start.AddDate(0, 0, -31), Kindled: start}
	notKnown := litter.Litter{Kindled: start}
	for _, c := range []struct {
		name   string
		l      litter.Litter
		kind   brood.Kind
		season brood.Season
		days   map[int]string // what stands all through that day
	}{
		{"bred", bred, brood.WoodenBox, brood.Mild, map[int]string{
			0: "", 9: "", 10: "check-pregnancy-due notice", 14: "check-pregnancy-due notice", 15: "", 26: "", 27: "box-due notice", 28: "box-due notice", 29: "box-due warning", 32: "box-due warning",
			33: "box-due warning, kindling-overdue warning", 35: "box-due warning, kindling-overdue warning",
			36: "kindling-overdue warning", 60: "kindling-overdue warning",
		}},
		{"kindled, winter", kindled, brood.WoodenBox, brood.Winter, map[int]string{
			0: "", 1: "ration-due notice", 7: "ration-due notice", 8: "", 13: "", 14: "turn-box-due notice", 27: "turn-box-due notice",
			28: "remove-box-due notice, wean-due notice", 29: "remove-box-due notice, wean-due notice, hide-box-due notice",
			35: "remove-box-due notice, wean-due notice, hide-box-due notice", 36: "remove-box-due notice, wean-due notice",
			60: "remove-box-due notice, wean-due notice",
		}},
		{"kindled, summer, bred not known", notKnown, brood.MetalBox, brood.Summer, map[int]string{
			13: "", 20: "turn-box-due notice", 21: "remove-box-due notice", 22: "remove-box-due notice, hide-box-due notice",
			28: "remove-box-due notice, hide-box-due notice, wean-due notice", 29: "remove-box-due notice, wean-due notice",
		}},
		{"kindled in a tote", kindled, brood.BuriedTote, brood.Summer, map[int]string{
			9: "", 10: "collect-due notice", 12: "collect-due notice", 13: "collect-due warning", 20: "collect-due warning",
			21: "", 28: "wean-due notice",
		}},
		{"ended", litter.Litter{Bred: start, Kindled: start, Ended: start.AddDate(0, 0, 3)}, brood.WoodenBox, brood.Mild, map[int]string{14: "", 40: ""}},
		{"nothing known", litter.Litter{}, brood.WoodenBox, brood.Mild, map[int]string{0: "", 33: ""}},
	} {
		for day, want := range c.days {
			morning := time.Date(2025, 3, 10+day, 0, 0, 0, 0, loc)
			for _, now := range []time.Time{morning, morning.Add(22*time.Hour + 59*time.Minute)} {
				var standing []string
				for _, d := range chores(c.l, c.kind, c.season, now, loc) {
					if s := d.Severity(now); s != alarm.None {
						standing = append(standing, string(d.Event)+" "+s.String())
					}
					if !d.Event.Chore() || d.From.IsZero() {
						t.Errorf("%s: %+v is no chore", c.name, d)
					}
				}
				if got := strings.Join(standing, ", "); got != want {
					t.Errorf("%s, day %d, %v: %q, want %q", c.name, day, now, got, want)
				}
			}
		}
	}
}

func TestChoresAreTheEarliestFirst(t *testing.T) {
	l := litter.Litter{Kindled: at(t, "2025-03-10T20:00:00Z")}
	var last time.Time
	for _, d := range chores(l, brood.WoodenBox, brood.Winter, l.Kindled, time.UTC) {
		if d.From.Before(last) {
			t.Errorf("%s comes too late in the list", d.Event)
		}
		last = d.From
	}
	if last.IsZero() {
		t.Error("no chore ahead of a newborn litter")
	}
}

func TestOverdueCallsTheVeterinarianFromDay35(t *testing.T) {
	l := litter.Litter{Bred: at(t, "2025-03-10T20:00:00Z")}
	for day, want := range map[int]bool{33: false, 34: false, 35: true, 50: true} {
		for _, d := range chores(l, brood.WoodenBox, brood.Mild, l.Bred.AddDate(0, 0, day), time.UTC) {
			if d.Event == alarm.KindlingOverdue && d.Severity(l.Bred.AddDate(0, 0, day)) != alarm.None && strings.Contains(d.Text, "call the veterinarian") != want {
				t.Errorf("day %d: %s", day, d.Text)
			}
		}
	}
}

// A keeper must be able to tell custom from study.
func TestEveryChoreNamesItsBasis(t *testing.T) {
	start := at(t, "2025-03-10T20:00:00Z")
	for _, l := range []litter.Litter{{Bred: start}, {Kindled: start}} {
		for _, kind := range brood.Kinds {
			for _, day := range []int{0, 34, 35} {
				for _, d := range chores(l, kind, brood.Summer, start.AddDate(0, 0, day), time.UTC) {
					if !strings.Contains(d.Source, "common practice") && !strings.Contains(d.Source, "second hand") {
						t.Errorf("%s, %s: no basis in %q", kind, d.Event, d.Source)
					}
					if !strings.Contains(d.Rule, "day ") {
						t.Errorf("%s, %s: no day in the rule %q", kind, d.Event, d.Rule)
					}
					if kind == brood.BuriedTote && strings.Contains(d.Text, " box ") {
						t.Errorf("a tote is told of a box: %q", d.Text)
					}
				}
			}
		}
	}
}

func TestSeverityAtTheEdges(t *testing.T) {
	from := at(t, "2025-03-10T00:00:00Z")
	d := litter.Due{From: from, Late: from.AddDate(0, 0, 3), Until: from.AddDate(0, 0, 7)}
	open := litter.Due{From: from}
	for _, c := range []struct {
		name string
		d    litter.Due
		now  time.Time
		want alarm.Severity
	}{
		{"just before", d, from.Add(-1), alarm.None},
		{"due", d, d.From, alarm.Notice},
		{"just before late", d, d.Late.Add(-1), alarm.Notice},
		{"late", d, d.Late, alarm.Warning},
		{"just before the end", d, d.Until.Add(-1), alarm.Warning},
		{"over", d, d.Until, alarm.None},
		{"never late, never over", open, from.AddDate(1, 0, 0), alarm.Notice},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := c.d.Severity(c.now); got != c.want {
				t.Errorf("%v, want %v", got, c.want)
			}
		})
	}
}

// Callers ask once a day: nothing may change between.
func TestChoresChangeAtMidnightOnly(t *testing.T) {
	loc := zone(t, "America/Santiago") // its clocks change at midnight, here on day 27 of gestation and day 28 of the litter
	for _, l := range []litter.Litter{{Bred: at(t, "2024-08-12T20:00:00Z")}, {Kindled: at(t, "2024-08-11T20:00:00Z")}} {
		for _, kind := range brood.Kinds {
			for _, d := range chores(l, kind, brood.Winter, at(t, "2024-08-11T20:00:00Z"), loc) {
				for _, edge := range []time.Time{d.From, d.Late, d.Until} {
					if !edge.IsZero() && !litter.NextDay(edge.Add(-1), loc).Equal(edge) {
						t.Errorf("%s changes within a day, at %v", d.Event, edge.In(loc))
					}
				}
			}
		}
	}
}
