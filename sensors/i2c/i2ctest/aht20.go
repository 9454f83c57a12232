package i2ctest

import (
	"math"
	"time"
)

// aht20Conversion is just shorter than the 80 ms that the datasheet asks to wait.
const aht20Conversion = 75 * time.Millisecond

// AHT20 is a hygrometer that measures nothing before it was told to load its calibration.
type AHT20 struct {
	T, H       uint32 // raw results of a measurement, 20 bit each
	StuckBusy  bool
	Unloadable bool // its calibration cannot be loaded

	calibrated bool
	measured   [5]byte
	ends       time.Time
	status     bool // the next read is of the status alone
	slow       int
}

// NewAHT20 makes one that was told so, about to give the published answer 1c 26 9a 76 42 e7 76: 28.27 °C and 15.08 % RH.
func NewAHT20() *AHT20 { return &AHT20{T: 0x642e7, H: 0x269a7, calibrated: true} }

// Reset is a loss of supply.
func (c *AHT20) Reset() {
	c.calibrated, c.measured, c.ends, c.status = false, [5]byte{}, time.Time{}, false
}

// Slow makes it take so many times as long.
func (c *AHT20) Slow(factor int) { c.slow = factor }

// Set makes it measure this, °C and % RH.
func (c *AHT20) Set(celsius, percent float64) {
	c.T, c.H = uint32(math.Round((celsius+50)/200*(1<<20))), uint32(math.Round(percent/100*(1<<20)))
}

// Tx takes a command, then gives the status or the status with the results and their checksum.
func (c *AHT20) Tx(w, r []byte) error {
	if len(w) > 0 {
		c.status = w[0] == 0x71
		switch w[0] {
		case 0xbe:
			c.calibrated = !c.Unloadable
		case 0xba:
			c.Reset()
		case 0xac:
			c.ends = time.Now().Add(aht20Conversion * time.Duration(max(c.slow, 1)))
		}
	}
	if !c.ends.IsZero() && !time.Now().Before(c.ends) {
		if c.calibrated {
			c.measured = [5]byte{byte(c.H >> 12), byte(c.H >> 4), byte(c.H<<4) | byte(c.T>>16), byte(c.T >> 8), byte(c.T)}
		}
		c.ends = time.Time{}
	}
	answer := append([]byte{c.state()}, c.measured[:]...)
	answer = append(answer, crc8(answer))
	copy(r, answer)
	return nil
}

func (c *AHT20) state() byte {
	s := byte(0x14)
	if c.calibrated {
		s |= 0x08
	}
	if c.StuckBusy || !c.ends.IsZero() {
		s |= 0x80
	}
	return s
}
