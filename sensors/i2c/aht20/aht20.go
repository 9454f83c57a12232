// Package aht20 reads temperature and humidity of an AHT20. It is a chip for the bench and for dry air.
//
// periph's driver measures, checks the checksum and waits no longer than 0.23 s. A chip that lost its supply has lost its calibration:
// every measurement then fails until it is told to load it again, which happens here, and the measurement counts as none. A result of
// zeros, -50 °C and 0 %, is a chip that has not measured. And a chip that never heard that it should measure gives its last result again,
// in good order, so it is asked whether it has begun.
//
// Resolution 0.01 °C and 0.024 % RH; accuracy ±0.3 °C and ±2 % RH (AHT20 datasheet, from memory).
package aht20

import (
	"bytes"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/aht20"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
)

// Driver is the AHT20.
var Driver = chip.Driver{
	Name:       "aht20",
	Addresses:  []uint16{address},
	Quantities: []sensors.Quantity{sensors.Temperature, sensors.Humidity},
	Open:       open,
	Like:       like,
}

const (
	address = 0x38 // the only one

	askStatus  = 0x71
	measure    = 0xac
	busy       = 0x80 // status
	calibrated = 0x18 // status & 18 == 18: loaded (elixir-sensors/aht20 wiki)

	coldest = -50 // °C, the value of zeros
)

// How long a result is waited for beyond the 80 ms that the driver sleeps, and how often it is looked for (periph's defaults).
var limits = aht20.Opts{MeasurementReadTimeout: 150 * time.Millisecond, MeasurementWaitInterval: 10 * time.Millisecond, ValidateData: true}

type hygrometer struct {
	bus i2c.Bus
	dev *aht20.Dev
}

func open(bus chip.Bus, _ uint16, _ chip.Options) (chip.Chip, error) {
	dev, err := aht20.NewI2C(begun{bus}, &limits)
	if err != nil {
		return nil, fmt.Errorf("aht20: setting it up: %w", err)
	}
	c := &hygrometer{bus, dev}
	if err := c.check(); err != nil {
		return nil, err
	}
	return c, nil
}

// like judges what it gives unasked: status, results of its last measurement and their checksum. Nothing is written: a port expander at this
// address (PCF8574A, from memory) takes every byte for the level of its pins, and gives them again and again.
func like(_ chip.Bus, _ uint16, idle []byte) chip.Likeness {
	const answer = 7
	switch {
	case len(idle) < answer || bytes.Count(idle[:answer], idle[:1]) == answer:
		return chip.No
	case chip.CRC8(idle[:answer-1]) == idle[answer-1]:
		return chip.Sure
	}
	return chip.Maybe
}

// check looks whether the calibration is loaded.
func (c *hygrometer) check() error {
	s, err := status(c.bus)
	if err != nil {
		return fmt.Errorf("aht20: asking for the status: %w", err)
	}
	if s&calibrated != calibrated {
		return chip.Faultf(sensors.NotConverted, "aht20: status %02x: its calibration is not loaded", s)
	}
	return nil
}

func status(bus i2c.Bus) (byte, error) {
	var s [1]byte
	err := bus.Tx(address, []byte{askStatus}, s[:])
	return s[0], err
}

// begun is a bus that asks after each command to measure whether the chip has begun.
type begun struct{ i2c.Bus }

func (b begun) Tx(addr uint16, w, r []byte) error {
	if err := b.Bus.Tx(addr, w, r); err != nil || len(w) == 0 || w[0] != measure {
		return err
	}
	s, err := status(b.Bus)
	if err == nil && (s&busy == 0 || s == 0xff) {
		return chip.Faultf(sensors.NotConverted, "status %02x right after it was told to measure: it has not begun", s)
	}
	return err
}

// Read measures once.
func (c *hygrometer) Read() ([]float64, error) {
	var env physic.Env
	if err := c.dev.Sense(&env); err != nil {
		return nil, c.explain(err)
	}
	t, h := env.Temperature.Celsius(), float64(env.Humidity)/float64(physic.PercentRH)
	if t == coldest && h == 0 {
		return nil, chip.Faultf(sensors.NotConverted, "aht20: a result of zeros: it has not measured")
	}
	return []float64{t, h}, nil
}

// explain turns periph's errors into faults, and has a lost calibration loaded for the next time.
func (c *hygrometer) explain(err error) error {
	if _, ok := errors.AsType[*aht20.NotInitializedError](err); ok {
		if err := c.dev.Initialize(); err != nil {
			return fmt.Errorf("aht20: having the calibration loaded again: %w", err)
		}
		return chip.Faultf(sensors.NotConverted, "aht20: its calibration is not loaded: it lost its supply, and is told to load it again")
	}
	if corrupt, ok := errors.AsType[*aht20.DataCorruptionError](err); ok {
		return chip.Faultf(sensors.BadChecksum, "aht20: checksum wrong (got 0x%02x, want 0x%02x)", corrupt.Received, corrupt.Calculated)
	}
	if _, ok := errors.AsType[*aht20.ReadTimeoutError](err); ok {
		return chip.Faultf(sensors.TimedOut, "aht20: still measuring after its time")
	}
	return fmt.Errorf("aht20: measuring: %w", err)
}
