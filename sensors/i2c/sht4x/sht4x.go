// Package sht4x reads the SHT40, SHT41 and SHT45 for temperature and humidity: nest air, best in the version with a membrane.
//
// The chip keeps no configuration, so a loss of supply cannot confuse it: a measurement it lost is not answered for. Both words of an
// answer carry a checksum. A damaged sensor answers 8000 for both, in good order, which would read 42.5 °C and 56.5 %.
//
// The heater is never used: it dries the membrane, but for minutes the air it warms is not the nest's, and nobody has measured for how
// many. Another program's pulse ends by itself within a second; the reset at the start ends one that runs.
//
// Accuracy ±0.2 °C and ±1.8 % for the SHT40, typically (Sensirion SHT4x datasheet, from memory).
package sht4x

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
)

// Driver is the SHT4x. It is sold for three addresses, AD1, BD1 and CD1 in its order number (Sensirion SHT4x datasheet, from memory).
var Driver = chip.Driver{
	Name:       sensors.ChipSHT4x,
	Addresses:  []uint16{0x44, 0x45, 0x46},
	Quantities: []sensors.Quantity{sensors.Temperature, sensors.Humidity},
	Open:       open,
	Like:       like,
}

// Commands: Sensirion SHT4x datasheet, as public drivers write them down (Adafruit_SHT4x.h, docs.rs sht4x).
const (
	measure = 0xfd // at the highest precision
	reset   = 0x94
	serial  = 0x89
)

// Waits. A measurement takes 8.3 ms at most and a reset 1 ms (Sensirion SHT4x datasheet v7.1, as docs.rs sht4x-rs quotes it); the
// datasheet's own example waits 10 ms.
const (
	measuring = 10 * time.Millisecond
	resetting = 2 * time.Millisecond
)

// damaged is what both words are when the sensing element is broken: elixir-sensors/sht4x #29.
const damaged = 0x8000

type sensor struct {
	bus chip.Bus
	dev i2c.Dev
}

// open resets the chip, which ends a pulse of its heater, and reads its serial number: nothing but an SHT4x answers that with two right
// checksums.
func open(bus chip.Bus, address uint16, _ chip.Options) (chip.Chip, error) {
	s := &sensor{bus, i2c.Dev{Bus: bus, Addr: address}}
	if err := s.dev.Tx([]byte{reset}, nil); err != nil {
		return nil, fmt.Errorf("sht4x: reset: %w", err)
	}
	s.bus.Sleep(resetting)
	high, low, err := s.ask(serial, resetting)
	if err != nil {
		return nil, fmt.Errorf("sht4x: serial number: %w", err)
	}
	if high == 0 && low == 0 || high == 0xffff && low == 0xffff {
		return nil, chip.Faultf(sensors.WrongProbe, "sht4x: %04x%04x is no serial number: another chip answers at this address", high, low)
	}
	return s, nil
}

// like asks for the serial number.
func like(bus chip.Bus, address uint16, idle []byte) chip.Likeness {
	if idle != nil && !chip.Word(idle) {
		return chip.No
	}
	s := &sensor{bus, i2c.Dev{Bus: bus, Addr: address}}
	high, low, err := s.ask(serial, resetting)
	fault, told := errors.AsType[*chip.Fault](err)
	switch {
	case told && fault.Reason == sensors.BadChecksum:
		return chip.Maybe
	case err != nil || high == 0 && low == 0 || high == 0xffff && low == 0xffff:
		return chip.No
	}
	return chip.Sure
}

// Read measures both.
func (s *sensor) Read() ([]float64, error) {
	t, rh, err := s.ask(measure, measuring)
	if err != nil {
		return nil, fmt.Errorf("sht4x: measurement: %w", err)
	}
	if t == damaged && rh == damaged {
		return nil, chip.Faultf(sensors.Broken, "sht4x: both words are 8000: the sensor is damaged; replace it")
	}
	return []float64{celsius(t), humidity(rh)}, nil
}

// ask sends a command and reads the two words of its answer in a transaction of its own: in between the chip answers nothing.
func (s *sensor) ask(command byte, wait time.Duration) (first, second uint16, err error) {
	if err := s.dev.Tx([]byte{command}, nil); err != nil {
		return 0, 0, err
	}
	s.bus.Sleep(wait)
	var b [6]byte
	if err := s.dev.Tx(nil, b[:]); err != nil {
		return 0, 0, err
	}
	if b == [6]byte{} {
		return 0, 0, chip.Faultf(sensors.StuckLow, "all bytes are zero: the data line is held low; look for water or a damaged cable")
	}
	if b == [6]byte{0xff, 0xff, 0xff, 0xff, 0xff, 0xff} {
		return 0, 0, chip.Faultf(sensors.NoAnswer, "all bytes are ff: nothing answers; look for a broken data or supply wire")
	}
	for _, word := range [][]byte{b[0:3], b[3:6]} {
		if want := chip.CRC8(word[:2]); word[2] != want {
			return 0, 0, chip.Faultf(sensors.BadChecksum, "checksum of %02x%02x is %02x, not %02x", word[0], word[1], word[2], want)
		}
	}
	return binary.BigEndian.Uint16(b[0:]), binary.BigEndian.Uint16(b[3:]), nil
}

// celsius and humidity are the formulas of the datasheet's quick start, and so is the clipping.
func celsius(s uint16) float64 { return -45 + 175*float64(s)/65535 }

func humidity(s uint16) float64 { return min(max(-6+125*float64(s)/65535, 0), 100) }
