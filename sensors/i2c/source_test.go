package i2c

import (
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
	"nestmon/sensors/i2c/i2ctest"
	"nestmon/sensors/sourcetest"
)

// The bus of this suite is found by its name among those that periph knows, as one of a board is.
func TestConformance(t *testing.T) {
	sourcetest.Run(t, func(t *testing.T) sourcetest.Rig {
		chips := map[string]uint16{"a": 0x44, "b": 0x45}
		bus := &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{}}
		for _, address := range chips {
			bus.Chips[address] = emulated(21)
		}
		must(t, i2creg.Register("row-of-nests", nil, -1, func() (i2c.BusCloser, error) { return bus, nil }))
		t.Cleanup(func() { must(t, i2creg.Unregister("row-of-nests")) })
		a, b := config("a", 0x44), config("b", 0x45)
		a.Bus, b.Bus = "row-of-nests", "row-of-nests"
		s, err := New("/", []ProbeConfig{a, b}, 30*time.Second, slog.New(slog.DiscardHandler))
		must(t, err)
		return sourcetest.Rig{
			Source: s,
			Vanish: func(id string) { delete(bus.Chips, chips[id]) },
			Return: func(id string) { bus.Chips[chips[id]] = emulated(21) },
			Hang: func() func() {
				stuck := make(chan struct{})
				bus.Fault = func(uint16, []byte, []byte) error { <-stuck; return i2ctest.ErrTimeout }
				return func() { close(stuck) }
			},
		}
	})
}

func TestWhatFailedIsToldApart(t *testing.T) {
	for _, row := range []struct {
		name  string
		err   error
		kind  string
		fault sensors.Fault
		tried int
	}{
		{"nobody answers", i2ctest.ErrNack, "nack", sensors.NoAnswer, 2},
		{"nobody answers, on another controller", errors.New("sysfs-i2c: no such device or address"), "nack", sensors.NoAnswer, 2},
		{"a line is held", i2ctest.ErrTimeout, "timeout", sensors.TimedOut, 1},
		{"another master", errors.New("sysfs-i2c: resource temporarily unavailable"), "arbitration", sensors.NoAnswer, 2},
		{"the controller", i2ctest.ErrIO, "io", sensors.NoAnswer, 2},
		{"an SMBus", errors.New("sysfs-i2c: operation not supported"), "unsupported", sensors.BusDown, 1},
		{"an adapter was unplugged", errors.New("sysfs-i2c: no such device"), "bus-gone", sensors.BusDown, 1},
		{"something new", errors.New("sysfs-i2c: the moon"), "other", sensors.NoAnswer, 1},
	} {
		t.Run(row.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				bus := &i2ctest.Bus{Fault: func(uint16, []byte, []byte) error { return row.err }}
				s := source(t, bus, config("a", 0x44))
				if got := one(t, s); got.Fault != row.fault {
					t.Errorf("got %+v, want %s", got, row.fault)
				}
				got := s.Traffic()
				for kind, n := range got.Errors {
					if want := uint64(row.tried); (kind == row.kind) != (n == want) || kind != row.kind && n != 0 {
						t.Errorf("%d of kind %s, want %d of %s", n, kind, want, row.kind)
					}
				}
				if got.Transactions != uint64(row.tried) {
					t.Errorf("%d transactions counted, %d made", got.Transactions, row.tried)
				}
			})
		})
	}
}

func TestOneFailureIsTriedAgainInTheSameReading(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		bus := &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{0x44: emulated(21)}}
		s := source(t, bus, config("a", 0x44))
		for at := range 8 {
			n := 0
			bus.Fault = func(uint16, []byte, []byte) error {
				if n++; n == at {
					return i2ctest.ErrNack
				}
				return nil
			}
			if got := one(t, s); !got.OK() || !near(got.Value, 21) {
				t.Errorf("transaction %d failed: got %+v", at, got)
			}
		}
	})
}

// hiding is a driver that fails without a word, and one that goes on as if nothing had failed.
type hiding struct {
	dev i2c.Dev
	err error
}

func (h hiding) Read() ([]float64, error) {
	h.dev.Tx([]byte{1}, nil) //nolint:errcheck // that is what it hides
	return []float64{20, 50}, h.err
}

func TestADriverThatHidesAFailureIsNotBelieved(t *testing.T) {
	for name, said := range map[string]error{"a value": nil, "another cause": errors.New("out of luck")} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				bus := &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{}}
				s := source(t, bus, config("a", 0x44))
				s.seats[0].driver.Open = func(bus chip.Bus, address uint16, _ chip.Options) (chip.Chip, error) {
					return hiding{i2c.Dev{Bus: bus, Addr: address}, said}, nil
				}
				if got := one(t, s); got.Fault != sensors.NoAnswer {
					t.Errorf("got %+v, want no-answer", got)
				}
			})
		})
	}
}

// counting is a driver of a chip that cannot be made ready.
func counting(s *Source, tried *int, fault *chip.Fault) {
	s.seats[0].driver.Open = func(chip.Bus, uint16, chip.Options) (chip.Chip, error) { *tried++; return nil, fault }
}

func TestWhatDoesNotAnswerIsAskedLessOften(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := source(t, &i2ctest.Bus{}, config("a", 0x44))
		tried := 0
		counting(s, &tried, chip.Faultf(sensors.WrongProbe, "another chip"))
		began := time.Now()
		var at []string
		for time.Since(began) < 4*time.Minute {
			before := tried
			if got := one(t, s); got.Fault != sensors.WrongProbe {
				t.Errorf("got %+v: left alone, it keeps its fault", got)
			}
			if tried > before {
				at = append(at, time.Since(began).String())
			}
			time.Sleep(5 * time.Second)
		}
		if want := "0s 5s 15s 35s 1m15s 2m15s 3m15s"; strings.Join(at, " ") != want {
			t.Errorf("tried at %v, want %s", at, want)
		}
	})
}

func TestAClockThatIsSetBackLeavesNoChipAlone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := source(t, &i2ctest.Bus{}, config("a", 0x44))
		var set time.Duration
		s.Now = func() time.Time { return time.Now().Round(0).Add(set) }
		tried := 0
		counting(s, &tried, chip.Faultf(sensors.NoAnswer, "gone"))
		for range 3 {
			one(t, s)
		}
		before := tried
		set = -24 * time.Hour
		if one(t, s); tried == before {
			t.Error("it waits for yesterday to end")
		}
	})
}

// A heater that was on is switched off, and what the chip says is not used until it has cooled, whatever happens to it meanwhile.
func TestAfterAHeaterThereIsNoValueForAWhile(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := i2ctest.NewHDC302x(12, 70)
		bus := &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{0x44: c}}
		probe := config("a", 0x44)
		probe.Chip = "hdc302x"
		s := source(t, bus, probe)
		if got := one(t, s); !got.OK() {
			t.Fatalf("got %+v", got)
		}
		must(t, bus.Tx(0x44, []byte{0x30, 0x6d}, nil))
		began := time.Now()
		for n := 0; ; n++ {
			time.Sleep(30 * time.Second)
			got := one(t, s)
			if n == 1 {
				c.Reset()
			}
			if c.Heater {
				t.Fatal("the heater is still on")
			}
			if got.OK() {
				if !near(got.Value, 12) {
					t.Errorf("got %+v, want 12 °C", got)
				}
				break
			}
			if n == 0 && got.Fault != sensors.Settling {
				t.Errorf("got %+v, want settling", got)
			}
		}
		if rested := time.Since(began); rested < 5*time.Minute || rested > 7*time.Minute {
			t.Errorf("it rested for %v", rested)
		}
	})
}

// A bus that comes later, as a USB adapter does, is opened then; one that goes is opened again.
func TestABusThatComesAndGoes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		bus := &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{0x44: emulated(21)}}
		s := source(t, bus, config("a", 0x44))
		there, opened := false, 0
		s.lines[0].open = func(string) (i2c.BusCloser, error) {
			if !there {
				return nil, fmt.Errorf("sysfs-i2c: bus #1 is not configured: %w", errors.New("no such file or directory"))
			}
			opened++
			return bus, nil
		}
		if got := one(t, s); got.Fault != sensors.BusDown {
			t.Errorf("got %+v, want bus-down", got)
		}
		there = true
		if got := one(t, s); !got.OK() {
			t.Errorf("got %+v of a bus that came", got)
		}
		bus.Fault = func(uint16, []byte, []byte) error { return errors.New("sysfs-i2c: no such device") }
		if got := one(t, s); got.Fault != sensors.BusDown {
			t.Errorf("got %+v, want bus-down", got)
		}
		bus.Fault = nil
		if got := one(t, s); !got.OK() || opened != 2 {
			t.Errorf("got %+v, opened %d times", got, opened)
		}
	})
}

func TestABoardOfFilesHasNoBus(t *testing.T) {
	s, err := New(t.TempDir(), []ProbeConfig{config("a", 0x44)}, 30*time.Second, slog.New(slog.DiscardHandler))
	must(t, err)
	if got := one(t, s); got.Fault != sensors.BusDown {
		t.Errorf("got %+v, want bus-down", got)
	}
}

// The values of both quantities carry one time: what belongs together is judged together.
func TestReadingsOfAChipCarryOneTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := source(t, &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{0x44: emulated(21)}}, config("a", 0x44))
		got := s.Read(t.Context())
		if len(got) != 2 || !got[0].Time.Equal(got[1].Time) || got[0].Quantity != sensors.Temperature || !near(got[1].Value, 60) {
			t.Errorf("got %+v", got)
		}
	})
}

// A chip waits by the time of its source. The drivers of periph that still measure for some wait for themselves.
func TestChipsWaitByTheSourcesTime(t *testing.T) {
	for name, model := range i2ctest.Models {
		if name == "aht20" || name == "hdc302x" {
			continue
		}
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d, _ := driverOf(name)
				c := config("a", d.Addresses[0])
				c.Chip = name
				s := source(t, i2ctest.With(d, model().Chip), c)
				var waited time.Duration
				s.Sleep = func(d time.Duration) { waited += d; time.Sleep(d) }
				began := time.Now()
				one(t, s)
				if took := time.Since(began); waited == 0 || took != waited {
					t.Errorf("it waited %v by its source, and %v passed", waited, took)
				}
			})
		})
	}
}

// A chip that was never read or has just failed, and one that gives each result once, are not read between polls.
func TestWhatIsReadBetweenPolls(t *testing.T) {
	bus := &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{0x44: emulated(21)}}
	s := source(t, bus, config("a", 0x44))
	if s.Again() {
		t.Error("a bus that was never read can be read again")
	}
	if one(t, s); !s.Again() {
		t.Error("a bus that is well cannot be read again")
	}
	delete(bus.Chips, 0x44)
	if one(t, s); s.Again() {
		t.Error("a chip that has failed is asked more often")
	}
	bus.Chips[0x44] = emulated(21)
	if one(t, s); !s.Again() {
		t.Error("a chip that is well again cannot be read again")
	}
	slow := config("b", 0x62)
	slow.Chip = sensors.ChipSCD4x
	if s := source(t, bus, config("a", 0x44), slow); one(t, s).OK() && s.Again() {
		t.Error("a chip that measures by itself is read between polls")
	}
}
