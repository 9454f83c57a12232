package i2ctest

import (
	"math"
	"time"
)

// mcp9808Conversion is the typical time of a conversion at 0.0625 °C (Microchip DS25095A, from memory).
const mcp9808Conversion = 250 * time.Millisecond

// MCP9808 is a thermometer whose register is zero until its first conversion ends.
type MCP9808 struct {
	Celsius              float64
	Manufacturer, Device uint16

	words
	limits     [5]uint16 // by register: 1 configuration, 2 upper, 3 lower, 4 critical
	resolution uint16
	since      time.Time // of the supply
	last       uint16    // bits 12 to 0 of the newest conversion
}

// NewMCP9808 makes one that has been on for long.
func NewMCP9808(celsius float64) *MCP9808 {
	c := &MCP9808{Celsius: celsius, Manufacturer: 0x0054, Device: 0x0400}
	c.words = words{load: c.read, store: c.write}
	c.Reset()
	c.since = c.since.Add(-time.Hour)
	return c
}

// Reset is a loss of supply.
func (c *MCP9808) Reset() {
	c.limits, c.resolution, c.last, c.since = [5]uint16{}, 3, 0, time.Now()
}

func (c *MCP9808) write(register byte, v uint16) {
	switch register {
	case 1:
		c.limits[1] = v & 0x07ff
	case 2, 3, 4:
		c.limits[register] = v & 0x1ffc
	case 8:
		c.resolution = v & 3
	}
}

func (c *MCP9808) read(register byte) uint16 {
	switch register {
	case 1, 2, 3, 4:
		return c.limits[register]
	case 5:
		return c.temperature()
	case 6:
		return c.Manufacturer
	case 7:
		return c.Device
	case 8:
		return c.resolution << 8 // a register of 8 bit
	}
	return 0
}

const mcp9808Shutdown = 0x0100

// temperature is the value in bits 12 to 0, its comparison with the limits above.
func (c *MCP9808) temperature() uint16 {
	if c.limits[1]&mcp9808Shutdown == 0 && time.Since(c.since) >= mcp9808Conversion {
		c.last = uint16(int16(math.Round(c.Celsius*16))) & 0x1fff
	}
	v := c.last
	t := signed13(v)
	if t >= signed13(c.limits[4]) {
		v |= 0x8000
	}
	if t > signed13(c.limits[2]) {
		v |= 0x4000
	}
	if t < signed13(c.limits[3]) {
		v |= 0x2000
	}
	return v
}

func signed13(v uint16) int16 { return int16(v<<3) >> 3 }
