package sensors_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
)

func TestEntryValidate(t *testing.T) {
	for _, row := range []struct {
		name  string
		entry sensors.Entry
		want  string // "path: start of problem", empty for none
	}{
		{"plain", sensors.Entry{ID: "a1-cluster"}, ""},
		{"one letter", sensors.Entry{ID: "a"}, ""},
		{"all set", sensors.Entry{ID: "a1", Interval: time.Minute, StaleAfter: 3 * time.Minute}, ""},
		{"no id", sensors.Entry{}, `id: "" cannot be an id`},
		{"capitals", sensors.Entry{ID: "A1"}, `id: "A1" cannot`},
		{"dash at the end", sensors.Entry{ID: "a1-"}, `id: "a1-" cannot`},
		{"negative interval", sensors.Entry{ID: "a1", Interval: -time.Second}, "interval: -1s is negative"},
		{"stale before the next reading", sensors.Entry{ID: "a1", Interval: time.Minute, StaleAfter: 30 * time.Second}, "stale_after: 30s is shorter"},
		{"stale after half a day", sensors.Entry{ID: "a1", StaleAfter: 12 * time.Hour}, "stale_after: 12h0m0s would call"},
	} {
		t.Run(row.name, func(t *testing.T) {
			var got []string
			row.entry.Validate(func(path, problem string) { got = append(got, path+": "+problem) })
			switch {
			case row.want == "" && got != nil:
				t.Errorf("got %q, want no problem", got)
			case row.want != "" && (len(got) != 1 || !strings.HasPrefix(got[0], row.want)):
				t.Errorf("got %q, want one starting with %q", got, row.want)
			}
		})
	}
}

func TestEntryProbeFillsWhatIsLeftOut(t *testing.T) {
	got := sensors.Entry{ID: "a1"}.Probe(40*time.Second, "sht4x", sensors.Temperature)
	if got.Interval != 40*time.Second || got.StaleAfter != 2*time.Minute || got.Chip != "sht4x" || !got.Measures(sensors.Temperature) || got.Measures(sensors.CO2) {
		t.Errorf("got %+v", got)
	}
	got = sensors.Entry{ID: "a1", Interval: time.Hour, StaleAfter: 2 * time.Hour}.Probe(30*time.Second, "")
	if got.Interval != time.Hour || got.StaleAfter != 2*time.Hour {
		t.Errorf("own figures were replaced: got %+v", got)
	}
}

func TestParseQuantities(t *testing.T) {
	got, err := sensors.ParseQuantities([]string{"humidity", "temperature", "humidity"})
	if want := []sensors.Quantity{sensors.Temperature, sensors.Humidity}; err != nil || !slices.Equal(got, want) {
		t.Errorf("got %v, %v; want %v", got, err, want)
	}
	_, err = sensors.ParseQuantities([]string{"pressure"})
	if want := `"pressure" is not a quantity; write one of: temperature, humidity, co2, voltage, current`; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

func TestEveryChipMeasuresSomething(t *testing.T) {
	for _, name := range sensors.ChipNames() {
		if _, q, ok := sensors.Chip(name); !ok || len(q) == 0 {
			t.Errorf("chip %s measures nothing", name)
		}
	}
	if _, _, ok := sensors.Chip("abacus"); ok {
		t.Error("an unknown chip is known")
	}
}
