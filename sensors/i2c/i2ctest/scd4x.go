package i2ctest

import (
	"encoding/binary"
	"fmt"
	"math"
	"time"
)

// scd4xPeriod is the time between two measurements of the periodic mode (Sensirion SCD4x datasheet).
const scd4xPeriod = 5 * time.Second

// SCD4x measures CO2 by itself once it was started. While it does it takes few commands.
type SCD4x struct {
	CO2, T, RH uint16 // words of a measurement
	Persisted  int    // writes to its EEPROM
	SelfCal    bool   // automatic self-calibration, on after power-on
	Offset     uint16 // word of the temperature offset

	started  time.Time // of the periodic mode, zero while idle
	taken    int64     // measurements up to the one that was read
	response []byte    // what the next read gets, nil for a NACK
}

// NewSCD4x makes an idle one, about to measure 500 ppm, 25.00 °C and 37.00 % RH, the words of the datasheet's example.
func NewSCD4x() *SCD4x {
	return &SCD4x{CO2: 0x01f4, T: 0x6667, RH: 0x5eb9, SelfCal: true, Offset: 0x05d9}
}

// Reset is a loss of supply.
func (c *SCD4x) Reset() {
	c.SelfCal, c.Offset, c.started, c.taken, c.response = true, 0x05d9, time.Time{}, 0, nil
}

// Set makes it measure this, °C, % RH and ppm.
func (c *SCD4x) Set(celsius, percent, ppm float64) {
	c.T, c.RH, c.CO2 = uint16(math.Round((celsius+45)/175*65535)), uint16(math.Round(percent/100*65535)), uint16(math.Round(ppm))
}

// Tx takes a command with its words and their checksums, and gives the response of the last one.
func (c *SCD4x) Tx(w, r []byte) error {
	if len(w) >= 2 {
		c.response = nil
		words := make([]uint16, 0, 1)
		for b := w[2:]; len(b) >= 3; b = b[3:] {
			if crc8(b[:2]) != b[2] {
				return fmt.Errorf("word of command %x refused: %w", w[:2], ErrNack)
			}
			words = append(words, binary.BigEndian.Uint16(b))
		}
		if err := c.command(binary.BigEndian.Uint16(w), words); err != nil {
			return err
		}
	}
	if len(r) == 0 {
		return nil
	}
	if c.response == nil {
		return fmt.Errorf("nothing to read: %w", ErrNack)
	}
	copy(r, c.response)
	c.response = nil
	return nil
}

func (c *SCD4x) respond(words ...uint16) {
	c.response = nil
	for _, v := range words {
		c.response = binary.BigEndian.AppendUint16(c.response, v)
		c.response = append(c.response, crc8(c.response[len(c.response)-2:]))
	}
}

func (c *SCD4x) measured() int64 {
	if c.started.IsZero() {
		return 0
	}
	return int64(time.Since(c.started) / scd4xPeriod)
}

// command obeys. Those that are not for the periodic mode are refused while it runs.
func (c *SCD4x) command(code uint16, words []uint16) error {
	switch code {
	case 0xe4b8: // data ready
		ready := uint16(0x8000)
		if c.measured() > c.taken {
			ready |= 6
		}
		c.respond(ready)
		return nil
	case 0xec05: // read measurement
		if n := c.measured(); n > c.taken {
			c.taken = n
			c.respond(c.CO2, c.T, c.RH)
		}
		return nil
	case 0x3f86: // stop
		c.started, c.taken = time.Time{}, 0
		return nil
	case 0xe000: // ambient pressure
		c.respond(0)
		return nil
	}
	if !c.started.IsZero() {
		return fmt.Errorf("command %04x while measuring: %w", code, ErrNack)
	}
	return c.idle(code, words)
}

func (c *SCD4x) idle(code uint16, words []uint16) error {
	switch {
	case code == 0x21b1:
		c.started = time.Now()
	case code == 0x2416 && len(words) == 1:
		c.SelfCal = words[0] != 0
	case code == 0x241d && len(words) == 1:
		c.Offset = words[0]
	case code == 0x3615:
		c.Persisted++
	default:
		c.answer(code)
	}
	return nil
}

// answer gives settings back.
func (c *SCD4x) answer(code uint16) {
	switch code {
	case 0x2313:
		var on uint16
		if c.SelfCal {
			on = 1
		}
		c.respond(on)
	case 0x2318:
		c.respond(c.Offset)
	case 0x3682: // serial number
		c.respond(0x4e53, 0x5443, 0x0001)
	case 0x202f, 0x2322, 0x233f, 0x2340, 0x234b: // variant, altitude, target and periods of the self-calibration
		c.respond(0)
	}
}
