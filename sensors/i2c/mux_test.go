package i2c

import (
	"math"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"
	"periph.io/x/devices/v3/pca9548"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
	"nestmon/sensors/i2c/i2ctest"
)

// twoNests is a multiplexer with a warm nest on channel 2 and a freezing one on channel 5, both chips at 0x44.
func twoNests() (*i2ctest.PCA9548, *i2ctest.Bus) {
	m := &i2ctest.PCA9548{}
	m.Channels[2] = map[uint16]i2ctest.Chip{0x44: emulated(36)}
	m.Channels[5] = map[uint16]i2ctest.Chip{0x44: emulated(-9)}
	return m, &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{0x70: m}}
}

func near(a, b float64) bool { return math.Abs(a-b) < 0.01 }

// The trap: periph's port remembers the channel it set. When another master switches, it hands on the other nest's air, without an error.
func TestPeriphsPortGivesAnotherNestsAir(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, bus := twoNests()
		dev, err := pca9548.New(bus, &pca9548.DefaultOpts)
		if err != nil {
			t.Fatal(err)
		}
		names, err := dev.RegisterPorts("trap")
		if err != nil {
			t.Fatal(err)
		}
		defer func() {
			for _, n := range names {
				if err := i2creg.Unregister(n); err != nil {
					t.Error(err)
				}
			}
		}()
		warm, err := i2creg.Open("trap2")
		if err != nil {
			t.Fatal(err)
		}
		if got := celsius(t, warm); !near(got, 36) {
			t.Fatalf("the warm nest is at %v °C", got)
		}
		m.Control = 1 << 5 // another master
		if got := celsius(t, warm); !near(got, -9) {
			t.Errorf("got %v °C: periph's port is no longer fooled, and this test no longer shows why ours is not periph's", got)
		}
	})
}

func celsius(t *testing.T, bus i2c.Bus) float64 {
	t.Helper()
	driver, _ := driverOf(sensors.ChipSHT4x)
	c, err := driver.Open(i2ctest.Timed{Bus: bus}, 0x44, chip.Options{})
	if err != nil {
		t.Fatal(err)
	}
	v, err := c.Read()
	if err != nil {
		t.Fatal(err)
	}
	return v[0]
}

func TestOurPortDoesNot(t *testing.T) {
	for _, row := range []struct {
		name  string
		fault func(m *i2ctest.PCA9548)
	}{
		{"another master switched", func(m *i2ctest.PCA9548) { m.Control = 1 << 5 }},
		{"another master opened both", func(m *i2ctest.PCA9548) { m.Control = 1<<5 | 1<<2 }},
		{"the multiplexer lost its supply", func(m *i2ctest.PCA9548) { m.Reset() }},
	} {
		t.Run(row.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				m, bus := twoNests()
				s := source(t, bus, behind(config("warm", 0x44), 0x70, 2), behind(config("cold", 0x44), 0x70, 5))
				row.fault(m)
				got := s.Read(t.Context())
				if !got[0].OK() || !near(got[0].Value, 36) || !got[2].OK() || !near(got[2].Value, -9) {
					t.Errorf("between readings: got %+v", got)
				}
				// And now before each single transaction of a reading in turn.
				for at := range 40 {
					n := 0
					bus.Fault = func(uint16, []byte, []byte) error {
						if n == at {
							row.fault(m)
						}
						n++
						return nil
					}
					for _, r := range s.Read(t.Context()) {
						want := map[string]float64{"warm": 36, "cold": -9}[r.Probe]
						if r.Quantity == sensors.Temperature && r.OK() && !near(r.Value, want) {
							t.Errorf("before transaction %d: %s is at %v °C, want %v", at, r.Probe, r.Value, want)
						}
					}
				}
			})
		})
	}
}

// register is the simplest chip: each transaction is a measurement. Nothing but the multiplexer tells which one answered.
type register byte

func (c register) Tx(_, r []byte) error {
	for i := range r {
		r[i] = byte(c)
	}
	return nil
}

func (register) Reset() {}

func TestASwitchWithinATransaction(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		passed, refused := 0, 0
		for at := range 10 {
			m, bus := twoNests()
			m.Channels[2][0x18], m.Channels[5][0x18] = register(36), register(9)
			n := 0
			bus.Fault = func(uint16, []byte, []byte) error {
				if n == at {
					m.Control = 1 << 5
				}
				n++
				return nil
			}
			l := newLine("/", "i2c-1", time.Now, time.Sleep)
			l.open = func(string) (i2c.BusCloser, error) { return bus, nil }
			var b [1]byte
			switch err := (port{l.mux(0x70), 2}).Tx(0x18, []byte{5}, b[:]); {
			case err != nil:
				refused++
			case b[0] != 36:
				t.Errorf("switched before transaction %d: got %d, want 36 or an error", at, b[0])
			default:
				passed++
			}
			if m.Control != 0 && n > at+3 {
				t.Errorf("switched before transaction %d: channels %08b are left open", at, m.Control)
			}
		}
		t.Logf("%d gave the value, %d an error", passed, refused)
	})
}

// A program that never stops switching is not retried into a value.
func TestAMultiplexerThatSomebodyFightsForIsNoAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, bus := twoNests()
		s := source(t, bus, behind(config("warm", 0x44), 0x70, 2))
		bus.Fault = func(addr uint16, _, r []byte) error {
			if addr == 0x70 && len(r) > 0 {
				m.Control = 1 << 5
			}
			return nil
		}
		if got := one(t, s); got.Fault != sensors.WrongProbe {
			t.Errorf("got %+v, want wrong-probe", got)
		}
		if n := s.Traffic().Errors["mux-switched"]; n == 0 {
			t.Error("it was not counted")
		}
	})
}

// Two multiplexers, the same address behind each: the other one is closed before, whatever state it was found in.
func TestTwoMultiplexersOnOneBus(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		first, bus := twoNests()
		second := &i2ctest.PCA9548{}
		second.Channels[0] = map[uint16]i2ctest.Chip{}
		bus.Chips[0x71] = second
		s := source(t, bus, behind(config("gone", 0x44), 0x71, 0), behind(config("a", 0x44), 0x70, 2))
		first.Control = 1 << 5
		got := s.Read(t.Context())
		if got[0].OK() {
			t.Errorf("a chip that is not there gave %+v", got[0])
		}
		if !got[2].OK() || !near(got[2].Value, 36) {
			t.Errorf("got %+v", got[2])
		}
		// The second one's cable comes off: the first's nests are read on.
		delete(bus.Chips, 0x71)
		if got := s.Read(t.Context())[2]; !got.OK() {
			t.Errorf("got %+v beside a multiplexer that is gone", got)
		}
	})
}
