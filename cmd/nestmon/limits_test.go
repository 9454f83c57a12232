package main

import (
	"slices"
	"strings"
	"testing"
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
	for _, want := range []string{"25 °C", "77.0 °F", "for 60 min", "[1] cluster table, days 14-20: judgement", "0.7 °C", "Sanz et al. 1989"} {
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
