package sensors_test

import (
	"errors"
	"log/slog"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
)

func TestChangeLogWritesChangesOnly(t *testing.T) {
	var said strings.Builder
	c := sensors.NewChangeLog(slog.New(slog.NewTextHandler(&said, nil)))
	for _, f := range []sensors.Fault{"", sensors.NoAnswer, sensors.NoAnswer, sensors.NoAnswer, sensors.StuckLow, "", ""} {
		var cause error
		if f != "" {
			cause = errors.New("cable gone")
		}
		c.Note(sensors.Reading{Probe: "a1", Fault: f}, cause)
	}
	var got []string
	for line := range strings.Lines(said.String()) {
		_, rest, _ := strings.Cut(line, "level=")
		got = append(got, strings.TrimSpace(rest))
	}
	want := []string{
		`WARN msg="probe gives no value" probe=a1 quantity=temperature fault=no-answer err="cable gone"`,
		`WARN msg="probe gives no value" probe=a1 quantity=temperature fault=stuck-low err="cable gone"`,
		`INFO msg="probe is back" probe=a1 quantity=temperature after_attempts=4`,
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// A day of a loose plug at 30 s is 2,880 changes. That it is dead for good in the end is told all the same.
func TestChangeLogOfALoosePlug(t *testing.T) {
	var said strings.Builder
	c := sensors.NewChangeLog(slog.New(slog.NewTextHandler(&said, nil)))
	at := time.Date(2031, time.January, 10, 0, 0, 0, 0, time.UTC)
	note := func(f sensors.Fault) {
		at = at.Add(30 * time.Second)
		c.Note(sensors.Reading{Probe: "a1", Time: at, Fault: f}, nil)
	}
	for i := range 2880 {
		note([]sensors.Fault{sensors.NoAnswer, ""}[i%2])
	}
	if n := strings.Count(said.String(), "\n"); n < 24 || n > 6*25 {
		t.Errorf("a day is %d lines, want some an hour", n)
	}
	for range 125 { // a little more than an hour
		note(sensors.NoAnswer)
	}
	lines := strings.Split(strings.TrimSpace(said.String()), "\n")
	if last := lines[len(lines)-1]; !strings.Contains(last, "gives no value") {
		t.Errorf("the log ends with %q", last)
	}
	if !strings.Contains(said.String(), "changes_left_out=") {
		t.Error("nothing tells that changes were left out")
	}
}
