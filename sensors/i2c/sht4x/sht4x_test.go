package sht4x_test

import (
	"testing"
	"testing/synctest"
	"time"

	playback "periph.io/x/conn/v3/i2c/i2ctest"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
	"nestmon/sensors/i2c/i2ctest"
	"nestmon/sensors/i2c/sht4x"
)

const address = 0x44

// begin is what the driver sends first: reset, and the serial number with the checksums of SHT3x-DIS datasheet v5 table 20 (BEEF) and
// SCD4x datasheet v1.3 (01E0).
var begin = []playback.IO{
	{Addr: address, W: []byte{0x94}},
	{Addr: address, W: []byte{0x89}},
	{Addr: address, R: []byte{0xbe, 0xef, 0x92, 0x01, 0xe0, 0xb4}},
}

// The formulas and the clipping: SHT4x datasheet, quick start, T = -45 + 175·S/65535 and RH = -6 + 125·S/65535. The values of the words
// were computed from them; checksums 0000 -> 81, FFFF -> AC, 6666 -> 93, 8000 -> A2 were computed by the polynomial of table 20 there.
func TestMeasurements(t *testing.T) {
	for _, row := range []struct {
		name   string
		answer []byte
		want   []float64
		fault  sensors.Fault
	}{
		{"25 °C", []byte{0x66, 0x66, 0x93, 0x66, 0x66, 0x93}, []float64{25, 44}, ""},
		{"below nothing is clipped", []byte{0x66, 0x66, 0x93, 0x00, 0x00, 0x81}, []float64{25, 0}, ""},
		{"above all is clipped", []byte{0xff, 0xff, 0xac, 0x66, 0x66, 0x93}, []float64{130, 44}, ""},
		{"fog", []byte{0x66, 0x66, 0x93, 0xff, 0xff, 0xac}, []float64{25, 100}, ""},
		{"half of one word is a measurement", []byte{0x80, 0x00, 0xa2, 0x66, 0x66, 0x93}, []float64{42.501, 44}, ""},
		{"a damaged sensor (elixir-sensors/sht4x #29)", []byte{0x80, 0x00, 0xa2, 0x80, 0x00, 0xa2}, nil, sensors.Broken},
		{"a bit of the temperature", []byte{0x66, 0x67, 0x93, 0x66, 0x66, 0x93}, nil, sensors.BadChecksum},
		{"a bit of the humidity's checksum", []byte{0x66, 0x66, 0x93, 0x66, 0x66, 0x92}, nil, sensors.BadChecksum},
		{"a line held low", make([]byte, 6), nil, sensors.StuckLow},
		{"a line held high", []byte{0xff, 0xff, 0xff, 0xff, 0xff, 0xff}, nil, sensors.NoAnswer},
	} {
		t.Run(row.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				bus := &playback.Playback{Ops: append(append([]playback.IO{}, begin...), playback.IO{Addr: address, W: []byte{0xfd}}, playback.IO{Addr: address, R: row.answer}), DontPanic: true}
				c, err := sht4x.Driver.Open(i2ctest.Timed{Bus: bus}, address, chip.Options{})
				if err != nil {
					t.Fatal(err)
				}
				got, err := c.Read()
				check(t, got, err, row.want, row.fault)
				if err := bus.Close(); err != nil {
					t.Error(err)
				}
			})
		})
	}
}

func check(t *testing.T, got []float64, err error, want []float64, fault sensors.Fault) {
	t.Helper()
	i2ctest.Answers(t, got, err, want, fault, 0.001)
}

func TestOpen(t *testing.T) {
	for _, row := range []struct {
		name   string
		serial []byte
		fault  sensors.Fault
	}{
		{"no serial number", []byte{0x00, 0x00, 0x81, 0x00, 0x00, 0x81}, sensors.WrongProbe},
		{"an erased one", []byte{0xff, 0xff, 0xac, 0xff, 0xff, 0xac}, sensors.WrongProbe},
		{"noise", []byte{0xbe, 0xef, 0x92, 0x01, 0xe0, 0xb5}, sensors.BadChecksum},
		{"a line held low", make([]byte, 6), sensors.StuckLow},
	} {
		t.Run(row.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ops := append([]playback.IO{}, begin...)
				ops[2].R = row.serial
				c, err := sht4x.Driver.Open(i2ctest.Timed{Bus: &playback.Playback{Ops: ops, DontPanic: true}}, address, chip.Options{})
				check(t, nil, err, nil, row.fault)
				if c != nil {
					t.Error("got a chip")
				}
			})
		})
	}
}

// The emulated chip acknowledges nothing while it measures, as the datasheet says of the real one.
func TestEmulated(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := &i2ctest.SHT4x{Celsius: -17.5, Humidity: 88, Serial: 1}
		bus := &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{address: emulated}}
		if err := bus.Tx(address, []byte{0x39}, nil); err != nil { // another program's pulse of the heater
			t.Fatal(err)
		}
		c, err := sht4x.Driver.Open(bus, address, chip.Options{})
		if err != nil {
			t.Fatal(err)
		}
		got, err := c.Read()
		check(t, got, err, []float64{-17.5, 88}, "")
		emulated.Reset()
		if got, err := c.Read(); err == nil {
			t.Errorf("got %v from a chip that is starting", got)
		}
		time.Sleep(time.Millisecond)
		got, err = c.Read()
		check(t, got, err, []float64{-17.5, 88}, "")
		emulated.Damaged = true
		got, err = c.Read()
		check(t, got, err, nil, sensors.Broken)
		emulated.Slow(6)
		if got, err := c.Read(); err == nil {
			t.Errorf("got %v from a chip that still measures", got)
		}
	})
}
