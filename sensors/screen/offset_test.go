package screen_test

import (
	"testing"

	"nestmon/sensors"
	"nestmon/sensors/screen"
)

func offProbe(chip string, o sensors.Offset) *screen.Screen {
	p := probe("a1", chip)
	p.Offset = o
	return screen.New([]sensors.Probe{p})
}

// What a chip says when it measured nothing is said before any offset: 85.31 would be a heat alarm.
func TestCodesAreLookedForInWhatTheChipSaid(t *testing.T) {
	for _, row := range []struct {
		name  string
		chip  string
		q     sensors.Quantity
		by    float64
		value float64
		want  sensors.Fault
	}{
		{"power-on code", "ds18b20", temperature, 0.31, 85, sensors.NotConverted},
		{"power-on code, shifted the other way", "ds18b20", temperature, -3, 85, sensors.NotConverted},
		{"failed conversion", "ds18b20", temperature, -1.5, 127.9375, sensors.NotConverted},
		{"first value of a clone", "ds18b20-d", temperature, 0.5, 25, sensors.Settling},
		{"first value of a TMP102", "tmp102", temperature, -0.5, 0, sensors.Settling},
		{"no code, the offset makes it look like one", "ds18b20-d", temperature, 0.5, 24.5, ""},
		{"too hot as the chip said it", "", temperature, -2, 61, sensors.OutOfRange},
		{"too hot once corrected", "", temperature, 2, 59, sensors.OutOfRange},
		{"too wet as the chip said it", "", humidity, -8, 106, sensors.OutOfRange},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := offProbe(row.chip, sensors.Offset{Temperature: row.by, Humidity: row.by})
			if got := apply(s, at(0, "a1", row.q, row.value))[0]; got.Fault != row.want {
				t.Errorf("%v with %+g: got %q (%v), want %q", row.value, row.by, got.Fault, got.Value, row.want)
			}
		})
	}
}

// 42.5 °C and 56.5 % together are a broken SHT4x, whatever its offsets and whichever comes first.
func TestAPairIsLookedForInWhatTheChipSaid(t *testing.T) {
	for _, first := range []sensors.Quantity{temperature, humidity} {
		s := offProbe("sht4x", sensors.Offset{Temperature: -0.4, Humidity: 3})
		r := []sensors.Reading{at(0, "a1", temperature, 42.5), at(0, "a1", humidity, 56.5)}
		if first == humidity {
			r[0], r[1] = r[1], r[0]
		}
		for _, got := range apply(s, r...) {
			if got.Fault != sensors.Broken {
				t.Errorf("%v first: %v is %q", first, got.Quantity, got.Fault)
			}
		}
	}
}

func TestOffsetsAreAddedOnceAndInTheArchivesSteps(t *testing.T) {
	o := sensors.Offset{Temperature: -0.312, Humidity: 2.5}
	for _, row := range []struct {
		q           sensors.Quantity
		value, want float64
	}{
		{temperature, 37.8125, 37.5}, // quantised to 37.81, then -0.312 and quantised again
		{temperature, 0.31, 0},
		{humidity, 61.2, 63.7},
		{humidity, 99, 100},
		{humidity, -0, 2.5},
		{co2, 612, 612},
	} {
		if got := apply(offProbe("", o), at(0, "a1", row.q, row.value))[0]; !got.OK() || got.Value != row.want {
			t.Errorf("%v of %v: got %v %q, want %v", row.value, row.q, got.Value, got.Fault, row.want)
		}
	}
}

// A cell with water on it says 100 %, whatever it is wrong by when it is dry.
func TestASaturatedHumidityStaysSaturated(t *testing.T) {
	for _, row := range []struct{ by, value, want float64 }{
		{-4, 100, 100},
		{-4, 103, 100},
		{-4, 99, 99},
		{-4, 98.99, 94.99},
		{4, 99, 100},
	} {
		s := offProbe("", sensors.Offset{Humidity: row.by})
		if got := apply(s, at(0, "a1", humidity, row.value))[0]; !got.OK() || got.Value != row.want {
			t.Errorf("%v%+g: got %v %q, want %v", row.value, row.by, got.Value, got.Fault, row.want)
		}
	}
}

func TestStoredValuesAreNotCorrectedAgain(t *testing.T) {
	s := offProbe("", sensors.Offset{Temperature: -0.31, Humidity: 2})
	live := apply(s, at(0, "a1", temperature, 37), at(0, "a1", humidity, 60))
	for i := range live {
		live[i].Time = live[i].Time.Add(30e9)
	}
	again := append([]sensors.Reading{}, live...)
	s.ApplyStored(again)
	if again[0].Value != 36.69 || again[1].Value != 62 || again[0].Suspect {
		t.Errorf("got %+v, want the stored values as they are", again)
	}
}

// What was said live is said again of what was stored, although the offset made a code of it; of a raw file codes are found.
func TestStoredValuesAreNotSearchedForCodes(t *testing.T) {
	for _, row := range []struct {
		name                  string
		chip                  string
		by                    sensors.Offset
		temperature, humidity float64 // as the chip said them; as the file holds them where there is no offset
		recorded              sensors.Fault
	}{
		{"first value of a clone", "ds18b20-d", sensors.Offset{Temperature: 0.5}, 24.5, 50, ""},
		{"pair of a broken SHT4x", "sht4x", sensors.Offset{Temperature: 0.3, Humidity: 2}, 42.2, 54.5, ""},
		{"one half of the pair was moved", "sht4x", sensors.Offset{Humidity: 2}, 42.5, 54.5, ""},
		{"first value of a clone, raw", "ds18b20-d", sensors.Offset{}, 25, 50, sensors.Settling},
		{"pair of a broken SHT4x, raw", "sht4x", sensors.Offset{}, 42.5, 56.5, sensors.Broken},
	} {
		t.Run(row.name, func(t *testing.T) {
			values := func() []sensors.Reading {
				return []sensors.Reading{at(0, "a1", temperature, row.temperature), at(0, "a1", humidity, row.humidity)}
			}
			live := values()
			offProbe(row.chip, row.by).Apply(live)
			if got := live[0].Fault; got != row.recorded {
				t.Fatalf("live: %q, want %q", got, row.recorded)
			}
			stored, file := append([]sensors.Reading{}, live...), append([]sensors.Reading{}, live...)
			if row.by == (sensors.Offset{}) {
				stored, file = values(), values()
			}
			offProbe(row.chip, row.by).ApplyStored(stored)
			offProbe(row.chip, row.by).ApplyRecorded(file)
			if !stored[0].OK() || !stored[1].OK() {
				t.Errorf("of the archive: %+v", stored)
			}
			if file[0].Fault != row.recorded {
				t.Errorf("of a file: %q, want %q", file[0].Fault, row.recorded)
			}
		})
	}
}
