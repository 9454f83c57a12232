package i2ctest

import (
	"math"
	"time"
)

// tmp102Conversion is the typical time of a conversion (TI SBOS397, from memory).
const tmp102Conversion = 26 * time.Millisecond

// TMP102 is a thermometer whose register is zero until its first conversion ends.
type TMP102 struct {
	Celsius float64

	words
	configuration uint16
	low, high     uint16
	last          uint16
	since         time.Time // of the supply
}

// NewTMP102 makes one that has been on for long.
func NewTMP102(celsius float64) *TMP102 {
	c := &TMP102{Celsius: celsius}
	c.words = words{load: c.read, store: c.write}
	c.Reset()
	c.since = c.since.Add(-time.Hour)
	return c
}

// Reset is a loss of supply.
func (c *TMP102) Reset() {
	c.configuration, c.low, c.high, c.last, c.since = 0x60a0, 0x4b00, 0x5000, 0, time.Now()
}

// Bits of the configuration: shut down, extended mode, and those that cannot be written (resolution, alert).
const (
	tmp102Shutdown = 0x0100
	tmp102Extended = 0x0010
	tmp102Fixed    = 0x6020
)

func (c *TMP102) write(register byte, v uint16) {
	switch register {
	case 1:
		c.configuration = v&0x9fd0&^0x8000 | c.configuration&tmp102Fixed
	case 2:
		c.low = v
	case 3:
		c.high = v
	}
}

func (c *TMP102) read(register byte) uint16 {
	switch register {
	case 0:
		return c.temperature()
	case 1:
		return c.configuration
	case 2:
		return c.low
	default:
		return c.high
	}
}

// temperature is left-aligned, 12 bit, or 13 bit with the lowest bit set in extended mode.
func (c *TMP102) temperature() uint16 {
	if c.configuration&tmp102Shutdown == 0 && time.Since(c.since) >= tmp102Conversion {
		c.last = uint16(int16(math.Round(c.Celsius * 16)))
	}
	if c.configuration&tmp102Extended != 0 {
		return c.last<<3 | 1
	}
	return c.last << 4
}
