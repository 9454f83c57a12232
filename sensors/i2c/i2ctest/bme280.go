package i2ctest

import (
	"encoding/hex"
	"time"
)

// bme280Conversion is longer than any measurement with little oversampling.
const bme280Conversion = 5 * time.Millisecond

// BME280 is a hygrometer that measures what its registers are told to, when they tell it to.
type BME280 struct {
	ID          byte
	Calibration [256]byte // by register: 88 to A1 and E1 to E7
	T, H        uint32    // raw results of a measurement: 20 and 16 bit
	StuckBusy   bool      // status bit 3 never clears

	pointer   byte
	registers [256]byte
	ends      time.Time // of the measurement that runs, zero when none does
	slow      int
}

// The calibration of a real part (calib280 in periph's bmx280_test.go).
const (
	bme280Low  = "106e6c665e01" + "5d95b8d5d00b771e9dfff9ffac260ad8bd10" + "004b"
	bme280High = "6e01001305001e"
)

// NewBME280 makes one with calibration and raw values of a real part, from periph's bmx280_test.go: 22.93 °C and 63.17 % RH.
func NewBME280() *BME280 {
	c := &BME280{ID: 0x60, T: 524112, H: 30987}
	c.Calibrate(bme280Low, bme280High)
	c.Reset()
	return c
}

// Calibrate sets the calibration from hexadecimal digits: 26 bytes from register 88, 7 from E1.
func (c *BME280) Calibrate(low, high string) {
	for at, text := range map[byte]string{0x88: low, 0xe1: high} {
		b, err := hex.DecodeString(text)
		if err != nil {
			panic(err)
		}
		copy(c.Calibration[at:], b)
	}
}

// Slow makes it take so many times as long.
func (c *BME280) Slow(factor int) { c.slow = factor }

// Reset is a loss of supply: nothing is to be measured, and the results say so.
func (c *BME280) Reset() {
	c.registers, c.ends = [256]byte{}, time.Time{}
	c.result(0x80000, 0x8000)
}

func (c *BME280) result(t, h uint32) {
	copy(c.registers[0xf7:], []byte{0x80, 0, 0, byte(t >> 12), byte(t >> 4), byte(t << 4), byte(h >> 8), byte(h)})
}

// Tx writes pairs of register and value, or sets the register to read from.
func (c *BME280) Tx(w, r []byte) error {
	if len(w) == 1 {
		c.pointer = w[0]
	}
	for ; len(w) >= 2; w = w[2:] {
		c.write(w[0], w[1])
	}
	c.finish()
	for i := range r {
		r[i] = c.read(c.pointer + byte(i))
	}
	return nil
}

// write stores; a measurement begins with mode 1 or 2 in ctrl_meas, and humidity follows ctrl_hum only from then on.
func (c *BME280) write(register, v byte) {
	switch register {
	case 0xf2, 0xf5:
		c.registers[register] = v
	case 0xf4:
		c.registers[register] = v
		if v&3 != 0 {
			c.ends = time.Now().Add(bme280Conversion * time.Duration(max(c.slow, 1)))
		}
	}
}

func (c *BME280) finish() {
	if c.ends.IsZero() || time.Now().Before(c.ends) {
		return
	}
	t, h := uint32(0x80000), uint32(0x8000)
	if c.registers[0xf4]>>5 != 0 {
		t = c.T
	}
	if c.registers[0xf2]&7 != 0 {
		h = c.H
	}
	c.result(t, h)
	if c.registers[0xf4]&3 != 3 {
		c.registers[0xf4] &^= 3 // forced once, back to sleep
	}
	c.ends = time.Time{}
}

func (c *BME280) read(register byte) byte {
	switch {
	case register == 0xd0:
		return c.ID
	case register == 0xf3 && (c.StuckBusy || !c.ends.IsZero()):
		return 1 << 3
	case register >= 0x88 && register <= 0xa1, register >= 0xe1 && register <= 0xe7:
		return c.Calibration[register]
	}
	return c.registers[register]
}
