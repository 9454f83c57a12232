package hdc302x_test

import (
	"errors"
	"testing"
	"testing/synctest"
	"time"

	playback "periph.io/x/conn/v3/i2c/i2ctest"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
	"nestmon/sensors/i2c/hdc302x"
	"nestmon/sensors/i2c/i2ctest"
)

const address = 0x44

// What the driver sends first. The maker's number and its checksum, and the empty status and its, were recorded from a chip (periph's
// hdc302x_test.go).
var begin = []playback.IO{
	{Addr: address, W: []byte{0x30, 0x93}},
	{Addr: address, W: []byte{0x37, 0x81}, R: []byte{0x30, 0x00, 0x33}},
	{Addr: address, W: []byte{0x21, 0x30}},
	{Addr: address, W: []byte{0xf3, 0x2d}, R: []byte{0x00, 0x00, 0x81}},
	{Addr: address, W: []byte{0x30, 0x41}},
}

// then is what it sends for a measurement.
func then(status, answer []byte) []playback.IO {
	return append(append([]playback.IO{}, begin...),
		playback.IO{Addr: address, W: []byte{0xf3, 0x2d}, R: status},
		playback.IO{Addr: address, W: []byte{0x30, 0x41}},
		playback.IO{Addr: address, W: []byte{0xe0, 0x00}, R: answer},
	)
}

func TestMeasurements(t *testing.T) {
	calm := []byte{0x00, 0x00, 0x81}
	for _, row := range []struct {
		name           string
		status, answer []byte
		want           []float64
		fault          sensors.Fault
	}{
		{"recorded from a chip: periph's hdc302x_test.go", calm, []byte{0x68, 0xc5, 0x51, 0x3b, 0x82, 0x31}, []float64{26.621, 23.2}, ""},
		{"6666 and 8000: TI SNAS817D", calm, []byte{0x66, 0x66, 0x93, 0x80, 0x00, 0xa2}, []float64{25, 50}, ""},
		{"checksum ABAB -> 72: TI SNAU265C table 3-1", calm, []byte{0xab, 0xab, 0x72, 0x80, 0x00, 0xa2}, []float64{72.35, 50}, ""},
		{"a flipped bit", calm, []byte{0xab, 0xaa, 0x72, 0x80, 0x00, 0xa2}, nil, sensors.BadChecksum},
		{"a flipped bit of the status", []byte{0x00, 0x10, 0x81}, nil, nil, sensors.BadChecksum},
	} {
		t.Run(row.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				bus := &playback.Playback{Ops: then(row.status, row.answer), DontPanic: true}
				c, err := hdc302x.Driver.Open(i2ctest.Timed{Bus: bus}, address, chip.Options{})
				if err != nil {
					t.Fatal(err)
				}
				got, err := c.Read()
				check(t, got, err, row.want, row.fault)
			})
		})
	}
}

func check(t *testing.T, got []float64, err error, want []float64, fault sensors.Fault) {
	t.Helper()
	i2ctest.Answers(t, got, err, want, fault, 0.05)
}

// rig is a chip in a nest at 31.25 °C and 71 %.
func rig() (*i2ctest.HDC302x, *i2ctest.Bus) {
	c := i2ctest.NewHDC302x(31.25, 71)
	return c, &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{address: c}}
}

func TestOpen(t *testing.T) {
	for _, row := range []struct {
		name  string
		alter func(c *i2ctest.HDC302x)
		fault sensors.Fault
		rest  time.Duration
	}{
		{"just switched on", func(*i2ctest.HDC302x) {}, "", 0},
		{"another maker", func(c *i2ctest.HDC302x) { c.Maker = 0x5449 }, sensors.WrongProbe, 0},
		{"heater left on", func(c *i2ctest.HDC302x) { c.Heater = true }, sensors.Settling, 5 * time.Minute},
	} {
		t.Run(row.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				emulated, bus := rig()
				row.alter(emulated)
				_, err := hdc302x.Driver.Open(bus, address, chip.Options{})
				var f *chip.Fault
				if errors.As(err, &f); (err != nil) != (row.fault != "") || f != nil && (f.Reason != row.fault || f.Rest != row.rest) {
					t.Errorf("got %v", err)
				}
				if emulated.Heater {
					t.Error("the heater is still on")
				}
			})
		})
	}
}

func TestALossOfSupplyIsNoMeasurement(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated, bus := rig()
		c, err := hdc302x.Driver.Open(bus, address, chip.Options{})
		if err != nil {
			t.Fatal(err)
		}
		got, err := c.Read()
		check(t, got, err, []float64{31.25, 71}, "")
		emulated.Reset()
		time.Sleep(30 * time.Second)
		got, err = c.Read()
		check(t, got, err, nil, sensors.NotConverted)
		if c, err = hdc302x.Driver.Open(bus, address, chip.Options{}); err != nil {
			t.Fatal(err)
		}
		got, err = c.Read()
		check(t, got, err, []float64{31.25, 71}, "")
	})
}

func TestAHeaterThatAnotherProgramSwitchedOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated, bus := rig()
		c, err := hdc302x.Driver.Open(bus, address, chip.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if err := bus.Tx(address, []byte{0x30, 0x6d}, nil); err != nil {
			t.Fatal(err)
		}
		time.Sleep(30 * time.Second)
		got, err := c.Read()
		check(t, got, err, nil, sensors.Settling)
		if emulated.Heater {
			t.Error("the heater is still on")
		}
	})
}
