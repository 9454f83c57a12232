package sensors_test

import (
	"errors"
	"log/slog"
	"strings"
	"testing"

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
