package main

import (
	"slices"
	"strings"
	"testing"
)

func TestCalendarJSON(t *testing.T) {
	got, keys := answer(t, "calendar", "--bred", "2024-02-01", "--kind", "wooden-box")
	want := []string{
		"bred", "check_pregnancy", "box_due", "kindling", "overdue", "turn_box", "remove_box", "collect_from_tote", "wean",
	}
	if !slices.Equal(keys, want) {
		t.Errorf("keys %v, want %v", keys, want)
	}
	// Across the leap day; added up by the datetime module of Python 3.
	for key, want := range map[string]any{
		"bred": "2024-02-01", "overdue": "2024-03-05", "turn_box": "2024-03-17", "remove_box": "2024-03-31", "collect_from_tote": nil,
	} {
		if got[key] != want {
			t.Errorf("%s is %v, want %v", key, got[key], want)
		}
	}
	window := got["kindling"].(map[string]any)
	if window["earliest"] != "2024-02-29" || window["expected_from"] != "2024-03-03" ||
		window["expected_to"] != "2024-03-04" || window["latest"] != "2024-03-07" {
		t.Errorf("kindling %v", window)
	}
}

func TestCalendarOfATote(t *testing.T) {
	got, _ := answer(t, "calendar", "--bred", "2025-06-01", "--kindled", "2025-07-01", "--kind", "buried-tote", "--season", "summer")
	tote, ok := got["collect_from_tote"].(map[string]any)
	if !ok || tote["from"] != "2025-07-11" || tote["to"] != "2025-07-13" || got["turn_box"] != nil || got["remove_box"] != nil {
		t.Errorf("collect %v, turn %v, remove %v", tote, got["turn_box"], got["remove_box"])
	}
}

func TestCalendarForPeople(t *testing.T) {
	code, out, errs := calling(t, "calendar", "--bred", "2025-06-01", "--kindled", "2025-07-01", "--kind", "metal-box", "--season", "summer")
	if code != exitDone || errs != "" {
		t.Fatalf("exit %d, %s", code, errs)
	}
	for _, want := range []string{"Kindled Tue 2025-07-01", "Tue 2025-07-22", "day 21 after kindling", "common practice", "day 27-29 after breeding"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is missing in\n%s", want, out)
		}
	}
	_, out, _ = calling(t, "calendar", "--bred", "2025-06-01", "--kind", "metal-box")
	if !strings.Contains(out, "provisional") {
		t.Errorf("not said to be provisional:\n%s", out)
	}
}

func TestCalendarRefused(t *testing.T) {
	for _, c := range []struct {
		name, want string
		args       []string
	}{
		{"no date", "--bred is missing", []string{"--kind", "wooden-box"}},
		{"no such date", `--bred: date "2025-02-29"`, []string{"--bred", "2025-02-29", "--kind", "wooden-box"}},
		{"no kind", "write one of: wooden-box", []string{"--bred", "2025-02-01"}},
		{"kindled first", "is before bred", []string{"--bred", "2025-02-01", "--kindled", "2025-01-31", "--kind", "wooden-box"}},
		{"kindled empty", "--kindled: date", []string{"--bred", "2025-02-01", "--kindled", "", "--kind", "wooden-box"}},
	} {
		t.Run(c.name, func(t *testing.T) { refused(t, append([]string{"calendar"}, c.args...), c.want) })
	}
}

func TestCalendarDoubtsAnEarlyKindling(t *testing.T) {
	code, out, errs := calling(t, "calendar", "--bred", "2025-02-01", "--kindled", "2025-02-13", "--kind", "wooden-box", "--json")
	if code != exitDone || !strings.HasPrefix(out, "{") || !strings.Contains(errs, "check both dates") {
		t.Errorf("exit %d, out %q, errors %q", code, out, errs)
	}
}
