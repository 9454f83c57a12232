package recorded_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/recorded"
)

var six = time.Date(2031, 3, 9, 6, 0, 0, 0, time.UTC)

func TestWhatIsWrittenIsReadTheSame(t *testing.T) {
	polls := [][]sensors.Reading{
		{
			{Probe: "b1", Quantity: sensors.Humidity, Time: six.Add(time.Second), Value: 61.234},
			{Probe: "a1", Quantity: sensors.Temperature, Time: six, Value: 36.5},
			{Probe: "a1", Quantity: sensors.CO2, Time: six, Value: 812.4},
			{Probe: "dead", Quantity: sensors.Temperature, Time: six, Fault: sensors.NoAnswer},
		},
		{{Probe: "a1", Quantity: sensors.Temperature, Time: six.Add(1500 * time.Millisecond).In(time.FixedZone("", 3600)), Value: -0.001}},
	}
	var b strings.Builder
	w := recorded.NewWriter(&b)
	for _, p := range polls {
		if err := w.Write(p); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	want := `time,probe,temperature_c,humidity_pct,co2_ppm
2031-03-09T06:00:00Z,a1,36.50,,812
2031-03-09T06:00:01Z,b1,,61.23,
2031-03-09T06:00:01.5Z,a1,0.00,,
`
	if b.String() != want {
		t.Errorf("got:\n%swant:\n%s", b.String(), want)
	}
	got, err := all(recorded.NewReader(strings.NewReader(b.String()), "R.csv", time.UTC))
	if err != nil || len(got) != 4 {
		t.Errorf("read back: %q, %v", got, err)
	}
}

func TestASiteWithABattery(t *testing.T) {
	var b strings.Builder
	w := recorded.NewWriter(&b)
	w.WithBattery()
	err := w.Write([]sensors.Reading{
		{Probe: "a1", Quantity: sensors.Temperature, Time: six, Value: 36.5},
		{Probe: "bank", Quantity: sensors.Voltage, Time: six, Value: 12.648},
		{Probe: "bank", Quantity: sensors.Current, Time: six, Value: -0.15},
	})
	if err := errors.Join(err, w.Flush()); err != nil {
		t.Fatal(err)
	}
	const want = `time,probe,temperature_c,humidity_pct,co2_ppm,voltage_v,current_a
2031-03-09T06:00:00Z,a1,36.50,,,,
2031-03-09T06:00:00Z,bank,,,,12.65,-0.15
`
	if b.String() != want {
		t.Errorf("got:\n%swant:\n%s", b.String(), want)
	}
	got, err := all(recorded.NewReader(strings.NewReader(b.String()), "R.csv", time.UTC))
	const at = "2031-03-09T06:00:00Z"
	if again := []string{at + " a1 temperature 36.5", at + " bank voltage 12.65", at + " bank current -0.15"}; err != nil || !slices.Equal(got, again) {
		t.Errorf("read back: %q, %v", got, err)
	}
}

func TestAnEmptyExportHasAHeader(t *testing.T) {
	var b strings.Builder
	if err := recorded.NewWriter(&b).Flush(); err != nil {
		t.Fatal(err)
	}
	if got, err := all(recorded.NewReader(strings.NewReader(b.String()), "R.csv", time.UTC)); err != nil || got != nil {
		t.Errorf("got %q, %v", got, err)
	}
}

func TestWriterRefusesWhatTheReaderWould(t *testing.T) {
	one := func(at time.Time) []sensors.Reading { return []sensors.Reading{{Probe: "a1", Time: at, Value: 1}} }
	w := recorded.NewWriter(new(strings.Builder))
	if err := w.Write(one(six)); err != nil {
		t.Fatal(err)
	}
	if err := w.Write(one(six)); err == nil || !strings.Contains(err.Error(), "probe a1 has two rows at 2031-03-09T06:00:00Z") {
		t.Errorf("the same again: got %v", err)
	}
	if err := w.Write(one(six.Add(-time.Second))); err == nil || !strings.Contains(err.Error(), "is before a row already written") {
		t.Errorf("back in time: got %v", err)
	}
}
