package simulated_test

import (
	"math"
	"testing"
	"time"

	"nestmon/sensors/simulated"
)

func TestYearHasSeasonsAndNoJumps(t *testing.T) {
	y := simulated.NewYear(3)
	begin := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	var january, july, last float64
	for h := range 3 * 366 * 24 {
		at := begin.Add(time.Duration(h) * time.Hour)
		c := y.At(at)
		if c != y.At(at) {
			t.Fatalf("%s answers differently when asked twice", at)
		}
		if h > 0 && math.Abs(c.Temperature-last) > 8 {
			t.Errorf("%s: from %.1f to %.1f °C in an hour", at, last, c.Temperature)
		}
		if c.DewPoint > c.Temperature+5 || c.Sun < 0 || c.Sun > 1 {
			t.Errorf("%s: %+v", at, c)
		}
		last = c.Temperature
		switch at.Month() {
		case time.January:
			january += c.Temperature / (3 * 31 * 24)
		case time.July:
			july += c.Temperature / (3 * 31 * 24)
		}
	}
	if math.Abs(january+4) > 4 || math.Abs(july-25) > 4 { // mean 11 °C, amplitude 15 K, fronts of 4.5 K
		t.Errorf("january %.1f °C, july %.1f °C", january, july)
	}
}

func TestSeries(t *testing.T) {
	at := func(h int) time.Time { return time.Date(2025, 7, 1, h, 0, 0, 0, time.UTC) }
	row := func(h int, temperature float64) simulated.Sample {
		return simulated.Sample{Time: at(h), Conditions: simulated.Conditions{Temperature: temperature}}
	}
	s, err := simulated.NewSeries([]simulated.Sample{row(1, 10), row(2, 20), row(6, 0)})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []struct {
		at          time.Time
		temperature float64
	}{{at(0), 10}, {at(1), 10}, {at(1).Add(30 * time.Minute), 15}, {at(2), 20}, {at(4), 10}, {at(6), 0}, {at(9), 0}} {
		if got := s.At(want.at).Temperature; math.Abs(got-want.temperature) > 1e-9 {
			t.Errorf("%s: got %v, want %v", want.at, got, want.temperature)
		}
	}
	for name, rows := range map[string][]simulated.Sample{"empty": nil, "unsorted": {row(2, 1), row(2, 2)}} {
		if _, err := simulated.NewSeries(rows); err == nil {
			t.Errorf("%s weather passes", name)
		}
	}
}

func TestScenario(t *testing.T) {
	day := func(d, h int) time.Time { return time.Date(2025, 7, 1+d, h, 0, 0, 0, time.UTC) }
	s := simulated.Scenario{
		Base: simulated.Climate{Low: 10, High: 20, DewPoint: 8, Sun: 1},
		Spells: []simulated.Spell{{
			Climate: simulated.Climate{Low: 24, High: 36, DewPoint: 18, Sun: 1}, From: day(2, 0), To: day(4, 0), Ramp: 12 * time.Hour,
		}},
	}
	for _, want := range []struct {
		at          time.Time
		temperature float64
	}{{day(0, 3), 10}, {day(0, 15), 20}, {day(2, 3), 24}, {day(3, 15), 36}, {day(1, 18), (15 + 10/2*math.Sqrt(0.5) + 30 + 6*math.Sqrt(0.5)) / 2}, {day(5, 15), 20}} {
		if got := s.At(want.at).Temperature; math.Abs(got-want.temperature) > 1e-9 {
			t.Errorf("%s: got %v, want %v", want.at, got, want.temperature)
		}
	}
	if noon, midnight := s.At(day(0, 12)).Sun, s.At(day(0, 0)).Sun; noon != 1 || midnight != 0 {
		t.Errorf("sun %v at noon, %v at midnight", noon, midnight)
	}
}
