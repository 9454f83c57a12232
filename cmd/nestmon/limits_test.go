package main

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/brood"
)

func TestLimitsJSON(t *testing.T) {
	got, keys := answer(t, "limits", "--age", "2", "--kind", "metal-box", "--season", "winter")
	if want := []string{"age_days", "kind", "season", "cluster", "nest_air"}; !slices.Equal(keys, want) {
		t.Errorf("keys %v, want %v", keys, want)
	}
	for _, c := range []struct {
		place, name string
		c, delay    float64
	}{
		{"cluster", "chill_warn", 34, 3600},
		{"cluster", "chill_critical", 30, 1200}, // 30 min outside winter
		{"cluster", "heat_warn", 39, 1200},
		{"cluster", "heat_critical", 40, 600},
		{"nest_air", "cold_warn", 15, 3600},
		{"nest_air", "cold_critical", 5, 1200},
		{"nest_air", "heat_warn", 30, 1200},
		{"nest_air", "heat_critical", 35, 600},
	} {
		limit, ok := got[c.place].(map[string]any)[c.name].(map[string]any)
		if !ok || len(limit) != 3 {
			t.Fatalf("%s.%s is %v", c.place, c.name, limit)
		}
		number(t, limit, "limit_c", c.c, 0)
		number(t, limit, "delay_s", c.delay, 0)
		if source, _ := limit["source"].(string); !strings.Contains(source, "table, days 0-3") {
			t.Errorf("%s.%s has source %q", c.place, c.name, source)
		}
	}
}

func TestLimitsAfterTheNest(t *testing.T) {
	got, _ := answer(t, "limits", "--age", "29", "--kind", "buried-tote")
	if cluster, there := got["cluster"]; !there || cluster != nil || got["season"] != "mild" {
		t.Errorf("cluster %v, season %v", cluster, got["season"])
	}
}

func TestLimitsForPeople(t *testing.T) {
	code, out, errs := calling(t, "limits", "--age", "14", "--kind", "wooden-box")
	if code != exitDone || errs != "" {
		t.Fatalf("exit %d, %s", code, errs)
	}
	for _, want := range []string{"25 °C", "77.0 °F", "for 60 min", "[1] cluster table, days 14-20: judgement", "6 % of its distance to nest air with one cluster probe and by 3 % with two", "0.7 °C", "Sanz et al. 1989"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is missing in\n%s", want, out)
		}
	}
}

func TestLimitsOfFurredKitsAreForInformation(t *testing.T) {
	_, out, _ := calling(t, "limits", "--age", "21", "--kind", "wooden-box")
	if !strings.Contains(out, "cluster chill, notice") || strings.Contains(out, "cluster chill, warning") {
		t.Errorf("the chill row of day 21 is shown as an alarm:\n%s", out)
	}
}

func TestLimitsRefused(t *testing.T) {
	for _, c := range []struct {
		name, want string
		args       []string
	}{
		{"no age", "--age is missing", []string{"--kind", "wooden-box"}},
		{"no kind", `kind "" is unknown; write one of: wooden-box, metal-box, buried-tote`, []string{"--age", "3"}},
		{"unknown kind", `kind "box"`, []string{"--age", "3", "--kind", "box"}},
		{"unknown season", "write one of: winter, mild, summer", []string{"--age", "3", "--kind", "wooden-box", "--season", "spring"}},
		{"too old", "age 100 days", []string{"--age", "100", "--kind", "wooden-box"}},
		{"not born", "age -1 days", []string{"--age", "-1", "--kind", "wooden-box"}},
		{"half days", "1.5", []string{"--age", "1.5", "--kind", "wooden-box"}},
	} {
		t.Run(c.name, func(t *testing.T) { refused(t, append([]string{"limits"}, c.args...), c.want) })
	}
}

// TestChillMarginIsAsTold cools a pile in nest air of 5 °C and compares the limit of the alarm with what people are told of it.
func TestChillMarginIsAsTold(t *testing.T) {
	long(t)
	const air = 5.0 // °C
	for _, row := range []struct {
		name     string
		age      int // days
		clusters string
		share    float64
	}{
		{"first week", 3, "[c1]", 0.06},
		{"first week, two probes", 3, "[c1, c2]", 0.03},
		{"later", 10, "[c1]", 0.06},
		{"later, two probes", 10, "[c1, c2]", 0.03},
	} {
		t.Run(row.name, func(t *testing.T) {
			yaml := "probes: [{id: a, source: recorded}, {id: c1, source: recorded}, {id: c2, source: recorded}]\n" +
				"nests: [{id: oak, kind: wooden-box, air: a, cluster: " + row.clusters + "}]\n"
			begin := time.Date(2031, time.March, 1, 6, 0, 0, 0, time.UTC).AddDate(0, 0, row.age-2)
			var readings strings.Builder
			readings.WriteString("time,probe,temperature_c\n")
			for minute := range 60 * 60 {
				cluster := 36.0
				if cooling := float64(minute - 50*60); cooling > 0 {
					cluster = air + (36-air)*math.Exp(-cooling/300)
				}
				at := begin.Add(time.Duration(minute) * time.Minute).Format(time.RFC3339)
				wobble := 0.06 * float64(minute%3-1) // a probe that never moves is taken for dead
				fmt.Fprintf(&readings, "%s,a,%.2f\n%s,c1,%.4f\n%s,c2,%.4f\n", at, air+wobble, at, cluster+wobble, at, cluster-wobble)
			}
			code, out, errs := replayWith(t, yaml, readings.String(), "nest,bred,kindled,born,ended\noak,2031-01-29,2031-03-01,8,\n")
			if code != exitDone {
				t.Fatalf("exit %d: %s", code, errs)
			}
			tables := brood.DefaultTables()
			table, _ := tables.Cluster(row.age, brood.Mild)
			for line := range strings.Lines(out) {
				var e struct {
					Event, State, Severity string
					Limit                  float64
				}
				if err := json.Unmarshal([]byte(line), &e); err != nil {
					t.Fatal(err)
				}
				if e.Event != "cluster-chill" || e.State != "raised" || e.Severity != "warning" {
					continue
				}
				if want := table.ChillWarn.C - row.share*(table.ChillWarn.C-air); math.Abs(e.Limit-want) > 0.1 { // parts of a hundred are told, parts of a logarithm kept
					t.Errorf("the alarm's limit is %g °C, want %.2f: %s", e.Limit, want, line)
				}
				return
			}
			t.Errorf("no warning of chill in:\n%s", out)
		})
	}
}
