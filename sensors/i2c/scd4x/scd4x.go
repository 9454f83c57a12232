// Package scd4x reads carbon dioxide, and temperature and humidity beside it, of an SCD40 or SCD41. CO2 tells of ventilation and decides
// nothing else; the chip warms itself, so its temperature is the nest's only roughly, and it does not belong in a tote.
//
// periph's driver is not used. It waits for a measurement up to six seconds of the wall clock, which a clock that is set makes endless,
// and does so at each call after the chip lost its supply; and it asks and reads in one transaction, where the datasheet wants a pause.
// Here nothing is waited for: the chip measures by itself every five seconds, and a reading takes the newest result or says that there is
// none. A chip that gives none for three periods has lost its supply and is started again.
//
// Self-calibration takes the lowest CO2 of a week for clean air, which a nest never holds, so it is switched off at each start. It is never
// stored in the chip's EEPROM, which endures some two thousand writes.
//
// Accuracy ±(50 ppm + 5 %) (Sensirion SCD4x datasheet v1.3, from memory, as are the commands).
package scd4x

import (
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
)

// Driver is the SCD40 and the SCD41.
var Driver = chip.Driver{
	Name:       sensors.ChipSCD4x,
	Addresses:  []uint16{0x62},
	Quantities: []sensors.Quantity{sensors.Temperature, sensors.Humidity, sensors.CO2},
	Open:       open,
	Like:       like,
	First:      period,
}

// Commands.
const (
	stop        = 0x3f86
	start       = 0x21b1
	serial      = 0x3682
	setSelfCal  = 0x2416
	getSelfCal  = 0x2313
	dataReady   = 0xe4b8
	measurement = 0xec05

	readyBits = 0x07ff // any of them: a measurement waits
)

// Times between a command and what may follow it, and of the measurement.
const (
	pause    = 2 * time.Millisecond // the datasheet's 1 ms, and some
	stopping = 500 * time.Millisecond
	period   = 5 * time.Second
	patience = 3 * period // ours
)

type meter struct {
	bus   chip.Bus
	dev   i2c.Dev
	since time.Time // of the start or the last measurement, on the monotonic clock; zero when the chip is to be started
}

func open(bus chip.Bus, address uint16, _ chip.Options) (chip.Chip, error) {
	c := &meter{bus: bus, dev: i2c.Dev{Bus: bus, Addr: address}}
	if err := c.arm(); err != nil {
		return nil, err
	}
	return c, nil
}

// like asks whether a measurement waits, which it may be asked at any time.
func like(bus chip.Bus, address uint16, idle []byte) chip.Likeness {
	c := &meter{bus: bus, dev: i2c.Dev{Bus: bus, Addr: address}}
	if idle != nil && !chip.Word(idle) {
		return chip.No
	}
	_, err := c.ask(dataReady, 1)
	fault, told := errors.AsType[*chip.Fault](err)
	switch {
	case told && fault.Reason == sensors.BadChecksum:
		return chip.Maybe
	case err != nil:
		return chip.No
	}
	return chip.Sure
}

// arm stops whatever the chip does, switches self-calibration off and starts it.
func (c *meter) arm() error {
	c.since = time.Time{}
	if err := c.send(stop); err != nil {
		return err
	}
	c.bus.Sleep(stopping)
	if _, err := c.ask(serial, 3); err != nil {
		return err
	}
	if err := c.send(setSelfCal, 0); err != nil {
		return err
	}
	on, err := c.ask(getSelfCal, 1)
	if err != nil {
		return err
	}
	if on[0] != 0 {
		return chip.Faultf(sensors.WrongProbe, "scd4x: self-calibration cannot be switched off: another chip answers at this address")
	}
	if err := c.send(start); err != nil {
		return err
	}
	c.since = c.bus.Now()
	return nil
}

// Read takes the newest measurement.
func (c *meter) Read() ([]float64, error) {
	if c.since.IsZero() {
		if err := c.arm(); err != nil {
			return nil, err
		}
	}
	ready, err := c.ask(dataReady, 1)
	if err != nil {
		return nil, err
	}
	if ready[0]&readyBits == 0 {
		return nil, c.none()
	}
	v, err := c.ask(measurement, 3)
	if err != nil {
		return nil, err
	}
	c.since = c.bus.Now()
	if v[0] == 0 {
		return nil, chip.Faultf(sensors.NotConverted, "scd4x: 0 ppm: it has not measured")
	}
	return []float64{-45 + 175*float64(v[1])/65535, 100 * float64(v[2]) / 65535, float64(v[0])}, nil
}

// none says why there is no measurement, and starts a chip that does not measure.
func (c *meter) none() error {
	if since := c.bus.Now().Sub(c.since); since < patience {
		return chip.Faultf(sensors.Settling, "scd4x: its next measurement is not there yet, %.0f s after the last; it takes %v", since.Seconds(), period)
	}
	if err := c.arm(); err != nil {
		return err
	}
	return chip.Faultf(sensors.NotConverted, "scd4x: no measurement for %v: it lost its supply, and is started again", patience)
}

// send gives a command and its words, each with a checksum.
func (c *meter) send(code uint16, words ...uint16) error {
	w := binary.BigEndian.AppendUint16(nil, code)
	for _, v := range words {
		w = binary.BigEndian.AppendUint16(w, v)
		w = append(w, chip.CRC8(w[len(w)-2:]))
	}
	if err := c.dev.Tx(w, nil); err != nil {
		return fmt.Errorf("scd4x: command %04x: %w", code, err)
	}
	c.bus.Sleep(pause)
	return nil
}

// ask gives a command and reads n words.
func (c *meter) ask(code uint16, n int) ([]uint16, error) {
	if err := c.send(code); err != nil {
		return nil, err
	}
	b := make([]byte, 3*n)
	if err := c.dev.Tx(nil, b); err != nil {
		return nil, fmt.Errorf("scd4x: answer to %04x: %w", code, err)
	}
	words := make([]uint16, n)
	for i := range words {
		word := b[3*i : 3*i+3]
		if chip.CRC8(word[:2]) != word[2] {
			return nil, chip.Faultf(sensors.BadChecksum, "scd4x: answer to %04x: checksum of word %d wrong (got 0x%02x, want 0x%02x)", code, i, word[2], chip.CRC8(word[:2]))
		}
		words[i] = binary.BigEndian.Uint16(word)
	}
	return words, nil
}
