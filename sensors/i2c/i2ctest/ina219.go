package i2ctest

import (
	"math"
	"time"
)

// ina219Conversion is that of bus and shunt at the longest averaging, 68.1 ms each (TI SBOS448, from memory).
const ina219Conversion = 137 * time.Millisecond

// INA219 measures the voltage of a bus and that over a shunt, and computes a current only where it was told how.
type INA219 struct {
	Volts, ShuntVolts float64

	words
	configuration, calibration uint16
	since                      time.Time // of the supply or the configuration
}

// NewINA219 makes one that has been on for long and was never set up.
func NewINA219(volts, shunt float64) *INA219 {
	c := &INA219{Volts: volts, ShuntVolts: shunt}
	c.words = words{load: c.read, store: c.write}
	c.Reset()
	c.since = c.since.Add(-time.Hour)
	return c
}

// Reset is a loss of supply.
func (c *INA219) Reset() { c.configuration, c.calibration, c.since = 0x399f, 0, time.Now() }

func (c *INA219) write(register byte, v uint16) {
	switch register {
	case 0:
		if v&0x8000 != 0 {
			c.Reset()
			return
		}
		c.configuration, c.since = v&0x3fff, time.Now()
	case 5:
		c.calibration = v &^ 1 // bit 0 cannot be set
	}
}

func (c *INA219) read(register byte) uint16 {
	shunt, bus := c.measured()
	current := int32(shunt) * int32(c.calibration) / 4096
	power := current * int32(bus) / 5000
	switch register {
	case 0:
		return c.configuration
	case 1:
		return uint16(shunt)
	case 2:
		v := bus<<3 | 2
		if current != int32(int16(current)) || power > math.MaxUint16 {
			v |= 1 // overflow of the two computed registers
		}
		return v
	case 3:
		return uint16(power)
	case 4:
		return uint16(current)
	}
	return c.calibration
}

// measured is in steps of 10 µV, as far as ±320 mV, and of 4 mV, as far as the bus range.
func (c *INA219) measured() (shunt int16, bus uint16) {
	if time.Since(c.since) < ina219Conversion {
		return 0, 0
	}
	most := 16.0
	if c.configuration&0x2000 != 0 {
		most = 32
	}
	return int16(min(max(math.Round(c.ShuntVolts*1e5), -32000), 32000)), uint16(math.Round(min(c.Volts, most) * 250))
}
