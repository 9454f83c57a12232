package screen_test

import (
	"math"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/screen"
)

const (
	temperature = sensors.Temperature
	humidity    = sensors.Humidity
	co2         = sensors.CO2
)

var start = time.Date(2031, 3, 9, 6, 0, 0, 0, time.UTC)

func probe(id, chip string) sensors.Probe {
	return sensors.Entry{ID: id}.Probe(30*time.Second, chip, temperature, humidity, co2)
}

func at(s float64, id string, q sensors.Quantity, v float64) sensors.Reading {
	return sensors.Reading{Probe: id, Quantity: q, Time: start.Add(time.Duration(s * float64(time.Second))), Value: v}
}

func apply(s *screen.Screen, r ...sensors.Reading) []sensors.Reading {
	s.Apply(r)
	return r
}

func TestValuesThatCannotBeTrue(t *testing.T) {
	for _, row := range []struct {
		name  string
		chip  string
		q     sensors.Quantity
		value float64
		want  sensors.Fault
	}{
		{"power-on code", "", temperature, 85, sensors.NotConverted},
		{"power-on code of any declared chip", "jc42", temperature, 85, sensors.NotConverted},
		{"failed conversion, in steps of the chip", "", temperature, 127.9375, sensors.NotConverted},
		{"failed conversion, as periph prints it", "", temperature, 127.937, sensors.NotConverted},
		{"disconnected code", "", temperature, -127, sensors.NoAnswer},
		{"zero kelvin", "", temperature, -273.15, sensors.NotConverted},
		{"kilo-kelvin of a misread unit", "", temperature, -19727, sensors.Malformed},
		{"kilo-kelvin of a misread sign", "", temperature, -2994, sensors.Malformed},
		{"garbage after a disconnect", "", temperature, -109.9, sensors.OutOfRange},
		{"just too cold", "", temperature, -40.01, sensors.OutOfRange},
		{"just too hot", "", temperature, 60.01, sensors.OutOfRange},
		{"coldest", "", temperature, -40, ""},
		{"hottest", "", temperature, 60, ""},
		{"frozen tote", "", temperature, 0, ""},
		{"beside the power-on code but out of range", "", temperature, 84.94, sensors.OutOfRange},
		{"not a number", "", temperature, math.NaN(), sensors.Malformed},
		{"infinite", "", humidity, math.Inf(1), sensors.Malformed},
		{"a battery of 48 V, charged", "", sensors.Voltage, 60, ""},
		{"no battery", "", sensors.Voltage, 60.01, sensors.OutOfRange},
		{"wired the wrong way", "", sensors.Voltage, -0.01, sensors.OutOfRange},
		{"empty", "", sensors.Voltage, 0, ""},
		{"voltage that is none", "", sensors.Voltage, math.NaN(), sensors.Malformed},
		{"a battery that feeds much", "", sensors.Current, -300, ""},
		{"more than any shunt", "", sensors.Current, 300.01, sensors.OutOfRange},
		{"nothing flows", "", sensors.Current, 0, ""},
		{"dry as nothing", "", humidity, 0, ""},
		{"saturated", "", humidity, 100, ""},
		{"drifted cell", "", humidity, 105, ""},
		{"beyond any drift", "", humidity, 105.01, sensors.OutOfRange},
		{"negative humidity", "", humidity, -0.01, sensors.OutOfRange},
		{"negative humidity that the SHT4x formula yields", "sht4x", humidity, -6, ""},
		{"below the SHT4x formula", "sht4x", humidity, -6.01, sensors.OutOfRange},
		{"top of the SHT4x formula", "sht4x", humidity, 119, sensors.OutOfRange},
		{"carbon dioxide before the first measurement", "", co2, 0, sensors.NotConverted},
		{"less carbon dioxide than outdoors", "", co2, 249, sensors.OutOfRange},
		{"outdoor air", "", co2, 425, ""},
		{"beyond the sensor", "", co2, 40001, sensors.OutOfRange},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := screen.New([]sensors.Probe{probe("a1", row.chip)})
			got := apply(s, at(0, "a1", row.q, row.value))[0]
			if got.Fault != row.want {
				t.Errorf("fault of %v %v: got %q, want %q", row.value, row.q, got.Fault, row.want)
			}
			if got.Suspect {
				t.Error("a first value has no neighbours to be odd beside")
			}
			if math.IsNaN(got.Value) {
				t.Error("NaN left the screen")
			}
		})
	}
}

func TestHumidityIsClippedAndCounted(t *testing.T) {
	s := screen.New([]sensors.Probe{probe("a1", "sht4x")})
	got := apply(s, at(0, "a1", humidity, 103.2), at(30, "a1", humidity, -2), at(60, "a1", humidity, 99.9))
	for i, want := range []float64{100, 0, 99.9} {
		if got[i].Value != want || !got[i].OK() {
			t.Errorf("reading %d: got %+v, want %v", i, got[i], want)
		}
	}
	if n := s.Clipped("a1"); n != 2 {
		t.Errorf("clipped: got %d, want 2", n)
	}
	if n := s.Clipped("nobody"); n != 0 {
		t.Errorf("clipped of an unknown probe: got %d", n)
	}
}

func TestPairOfADamagedChip(t *testing.T) {
	for _, row := range []struct {
		name       string
		chip       string
		temp, rh   float64
		rhAt       float64 // s after the temperature
		wantT, wRH sensors.Fault
	}{
		// 8000 8000 through the SHT4x formulas: 42.501 °C, 56.501 %; the kernel driver's integers give 42500, 56500.
		{"as the formula gives it", "sht4x", 42.501, 56.501, 0, sensors.Broken, sensors.Broken},
		{"as the kernel gives it", "sht4x", 42.5, 56.5, 0, sensors.Broken, sensors.Broken},
		{"the same values of another chip", "hdc302x", 42.5, 56.5, 0, "", ""},
		{"chip not declared", "", 42.5, 56.5, 0, "", ""},
		{"a hot day", "sht4x", 42.5, 50, 0, "", ""},
		{"a wet one", "sht4x", 41, 56.5, 0, "", ""},
		{"halves of two measurements", "sht4x", 42.5, 56.5, 1, "", ""},
		{"lost calibration", "bme280", 0, 0, 0, sensors.Impossible, sensors.Impossible},
	} {
		for _, order := range []string{"temperature first", "humidity first"} {
			t.Run(row.name+", "+order, func(t *testing.T) {
				s := screen.New([]sensors.Probe{probe("a1", row.chip), probe("a2", "sht4x")})
				temp, rh := at(0, "a1", temperature, row.temp), at(row.rhAt, "a1", humidity, row.rh)
				other := at(0, "a2", temperature, 42.5)
				var got []sensors.Reading
				if order == "temperature first" {
					got = apply(s, temp, other, rh)
				} else {
					got = apply(s, rh, other, temp)
					got[0], got[2] = got[2], got[0]
				}
				if got[0].Fault != row.wantT || got[2].Fault != row.wRH || !got[1].OK() {
					t.Errorf("got %q, %q and %q of a neighbour; want %q, %q and none", got[0].Fault, got[2].Fault, got[1].Fault, row.wantT, row.wRH)
				}
			})
		}
	}
}

func TestFirstValueAfterTheProbeCameBack(t *testing.T) {
	gone := func(s float64) sensors.Reading {
		r := at(s, "a1", temperature, 0)
		r.Fault = sensors.NoAnswer
		return r
	}
	for _, row := range []struct {
		name     string
		chip     string
		readings []sensors.Reading
		want     []sensors.Fault
	}{
		{"family D at start", "ds18b20-d", []sensors.Reading{at(0, "a1", temperature, 25), at(30, "a1", temperature, 25)}, []sensors.Fault{sensors.Settling, ""}},
		{"family D after a fault", "ds18b20-d", []sensors.Reading{at(0, "a1", temperature, 31), gone(30), at(60, "a1", temperature, 25), at(90, "a1", temperature, 25)}, []sensors.Fault{"", sensors.NoAnswer, sensors.Settling, ""}},
		{"family D after silence", "ds18b20-d", []sensors.Reading{at(0, "a1", temperature, 31), at(300, "a1", temperature, 25), at(330, "a1", temperature, 25)}, []sensors.Fault{"", sensors.Settling, ""}},
		{"family D that never left", "ds18b20-d", []sensors.Reading{at(0, "a1", temperature, 25.06), at(30, "a1", temperature, 25)}, []sensors.Fault{"", ""}},
		{"genuine chip at start", "ds18b20", []sensors.Reading{at(0, "a1", temperature, 25)}, []sensors.Fault{""}},
		{"TMP102 at start", "tmp102", []sensors.Reading{at(0, "a1", temperature, 0), at(30, "a1", temperature, 0)}, []sensors.Fault{sensors.Settling, ""}},
		{"TMP102 at another value", "tmp102", []sensors.Reading{at(0, "a1", temperature, 0.06)}, []sensors.Fault{""}},
		{"unknown chip at zero", "", []sensors.Reading{at(0, "a1", temperature, 0)}, []sensors.Fault{""}},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := screen.New([]sensors.Probe{probe("a1", row.chip)})
			for i, r := range row.readings {
				if got := apply(s, r)[0]; got.Fault != row.want[i] {
					t.Errorf("reading %d: got %q, want %q", i, got.Fault, row.want[i])
				}
			}
		})
	}
}

func TestFaultsOfTheSourceAreKeptAndStrangersRefused(t *testing.T) {
	s := screen.New([]sensors.Probe{probe("a1", "")})
	bad := at(0, "a1", temperature, 20)
	bad.Fault = sensors.StuckLow
	if got := apply(s, bad)[0].Fault; got != sensors.StuckLow {
		t.Errorf("got %q", got)
	}
	if got := apply(s, at(0, "stranger", temperature, 20))[0].Fault; got != sensors.WrongProbe {
		t.Errorf("a probe nobody configured: got %q, want %q", got, sensors.WrongProbe)
	}
}

func TestValuesLeaveInTheArchivesSteps(t *testing.T) {
	s := screen.New([]sensors.Probe{probe("a1", "")})
	got := apply(s, at(0, "a1", temperature, 37.8125), at(0, "a1", humidity, 61.234999), at(0, "a1", co2, 612.4), at(30, "a1", temperature, -0.001))
	for i, want := range []float64{37.81, 61.23, 612, 0} {
		if got[i].Value != want || math.Signbit(got[i].Value) {
			t.Errorf("reading %d: got %v, want %v", i, got[i].Value, want)
		}
	}
}

func TestSteadyStateAllocatesNothing(t *testing.T) {
	s, batch := steady()
	n := 0
	allocs := testing.AllocsPerRun(1000, func() {
		n++
		next(batch, n)
		s.Apply(batch)
	})
	if allocs != 0 {
		t.Errorf("got %v allocations for each batch, want none", allocs)
	}
}

// steady is four nests of cluster and air probes and the outside, 14 readings a poll.
func steady() (*screen.Screen, []sensors.Reading) {
	var probes []sensors.Probe
	var watches []screen.Watch
	var batch []sensors.Reading
	for _, n := range []string{"a1", "a2", "b1", "b2"} {
		probes = append(probes, probe(n+"-cluster", "ds18b20"), probe(n+"-air", "sht4x"))
		watches = append(watches, screen.Watch{Probes: []string{n + "-cluster", n + "-air"}})
		batch = append(batch, at(0, n+"-cluster", temperature, 0), at(0, n+"-air", temperature, 0), at(0, n+"-air", humidity, 0))
	}
	probes = append(probes, probe("outside", "sht4x"))
	watches = append(watches, screen.Watch{Probes: []string{"outside"}, Outside: true})
	batch = append(batch, at(0, "outside", temperature, 0), at(0, "outside", humidity, 0))
	return screen.New(probes, watches...), batch
}

// next fills the batch with poll n: slow waves with a little noise, so that the median path runs as well.
func next(batch []sensors.Reading, n int) {
	for i := range batch {
		r := &batch[i]
		*r = sensors.Reading{Probe: r.Probe, Quantity: r.Quantity, Time: start.Add(time.Duration(n) * 30 * time.Second)}
		r.Value = 35 + 10*math.Sin(float64(n)/300) + float64((n*7+i*3)%11-5)*0.08
	}
}

func BenchmarkApply(b *testing.B) {
	s, _ := steady()
	const polls = 512
	all := make([][]sensors.Reading, polls)
	for n := range all {
		_, all[n] = steady()
		next(all[n], n)
	}
	work := make([]sensors.Reading, len(all[0]))
	b.ReportAllocs()
	done := 0
	for b.Loop() {
		copy(work, all[done%polls])
		shift := time.Duration(done/polls) * polls * 30 * time.Second
		for i := range work {
			work[i].Time = work[i].Time.Add(shift)
		}
		s.Apply(work)
		done++
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(done*len(work)), "ns/reading")
}
