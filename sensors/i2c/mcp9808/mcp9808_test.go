package mcp9808

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	playback "periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/mcp9808"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
	"nestmon/sensors/i2c/i2ctest"
)

const address = 0x18

// The bytes on the wire, with the identity of Microchip DS25095A (pp. 27-28) and its register of 13 bit with three alert bits above it.
func TestDatasheetDS25095A(t *testing.T) {
	for _, row := range []struct {
		register [2]byte
		want     float64
	}{
		{[2]byte{0xc1, 0x91}, 25.0625},
		{[2]byte{0xc2, 0x58}, 37.5},
		{[2]byte{0x1f, 0xf0}, -1},
	} {
		t.Run(fmt.Sprintf("%x", row.register), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := &playback.Playback{DontPanic: true, Ops: []playback.IO{
					{Addr: address, W: []byte{6}, R: []byte{0x00, 0x54}},
					{Addr: address, W: []byte{7}, R: []byte{0x04, 0x00}},
					{Addr: address, W: []byte{8, 3}},
					{Addr: address, W: []byte{1, 0, 0}},
					{Addr: address, W: []byte{1, 0, 0}},
					{Addr: address, W: []byte{4, 0x07, 0xd0}},
					{Addr: address, W: []byte{5}, R: row.register[:]},
					{Addr: address, W: []byte{1}, R: []byte{0, 0}},
					{Addr: address, W: []byte{4}, R: []byte{0x07, 0xd0}},
				}}
				i2ctest.Reads(t, i2ctest.Open(t, Driver, b), row.want)
				if err := b.Close(); err != nil {
					t.Error(err)
				}
			})
		})
	}
}

func TestAnotherChipIsNotRead(t *testing.T) {
	for _, row := range []struct {
		name         string
		maker, model uint16
	}{
		{"another maker", 0x0055, 0x0400},
		{"another model", 0x0054, 0x0200},
		{"bytes reversed", 0x5400, 0x0004},
		{"all zeros", 0, 0},
		{"all ones", 0xffff, 0xffff},
	} {
		t.Run(row.name, func(t *testing.T) {
			emulated := i2ctest.NewMCP9808(20)
			emulated.Manufacturer, emulated.Device = row.maker, row.model
			b := i2ctest.With(Driver, emulated)
			if _, err := mcp9808.New(b, &mcp9808.Opts{Addr: address}); err != nil {
				t.Errorf("periph alone: %v; it used to look at no identity", err)
			}
			i2ctest.NotOpened(t, Driver, b, sensors.WrongProbe)
		})
	}
	t.Run("a later revision is the same chip", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			emulated := i2ctest.NewMCP9808(20)
			emulated.Device = 0x0401
			i2ctest.Reads(t, i2ctest.Open(t, Driver, i2ctest.With(Driver, emulated)), 20)
		})
	})
}

func TestNoValueAfterAnError(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := i2ctest.With(Driver, i2ctest.NewMCP9808(20))
		c := i2ctest.Open(t, Driver, b)
		alone, err := mcp9808.New(b, &mcp9808.Opts{Addr: address, Res: mcp9808.Maximum})
		if err != nil {
			t.Fatal(err)
		}
		b.Fault = func(uint16, []byte, []byte) error { return i2ctest.ErrNack }

		// periph alone writes 0 K beside an error that does not say why, and in a stream gives -273.15 °C without one.
		env := physic.Env{Temperature: 20*physic.Kelvin + physic.ZeroCelsius}
		if err := alone.Sense(&env); err == nil || env.Temperature != 0 || strings.Contains(err.Error(), "remote I/O") {
			t.Errorf("periph alone: %v, %v", env.Temperature, err)
		}
		stream, err := alone.SenseContinuous(time.Second)
		if err != nil {
			t.Fatal(err)
		}
		if env := <-stream; env.Temperature != 0 {
			t.Errorf("periph's stream: %v", env.Temperature)
		}

		got, err := c.Read()
		if got != nil || !errors.Is(err, i2ctest.ErrNack) {
			t.Errorf("got %v, %v; want no value and the bus's own words", got, err)
		}
		b.Fault = nil
		i2ctest.Reads(t, c, 20)
		if err := alone.Halt(); err != nil {
			t.Error(err)
		}
		for range stream {
		}
	})
}

// The register holds zero until the first conversion.
func TestALostSupplyIsNotAFreezingNest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewMCP9808(20)
		b := i2ctest.With(Driver, emulated)
		alone, err := mcp9808.New(b, &mcp9808.Opts{Addr: address})
		if err != nil {
			t.Fatal(err)
		}
		c := i2ctest.Open(t, Driver, b)
		emulated.Reset()
		var env physic.Env
		if err := alone.Sense(&env); err != nil || env.Temperature != physic.ZeroCelsius {
			t.Errorf("periph alone: %v, %v; it used to say 0 °C", env.Temperature, err)
		}
		i2ctest.Refuses(t, c, sensors.Settling)
		i2ctest.Reads(t, c, 20)
	})
}

// A shutdown bit that another program set would leave the last value standing for ever.
func TestAChipThatWasShutDownIsStartedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewMCP9808(20)
		b := i2ctest.With(Driver, emulated)
		c := i2ctest.Open(t, Driver, b)
		i2ctest.Reads(t, c, 20)
		if err := b.Tx(address, []byte{1, 0x01, 0x00}, nil); err != nil {
			t.Fatal(err)
		}
		emulated.Celsius = 30
		i2ctest.Refuses(t, c, sensors.Settling)
		i2ctest.Reads(t, c, 30)
	})
}

func TestTrouble(t *testing.T) {
	i2ctest.Sweep(t, Driver, chip.Options{}, func() i2ctest.Chip { return i2ctest.NewMCP9808(-12.5) }, -12.5)
}
