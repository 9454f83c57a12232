package i2ctest

import (
	"encoding/binary"
	"sort"
)

// Set makes it measure this, °C and % RH: it looks for the raw results that mean it.
func (c *BME280) Set(celsius, percent float64) {
	c.T = uint32(sort.Search(1<<20-1, func(raw int) bool { return c.fine(raw)/5120 >= celsius }))
	fine := c.fine(int(c.T))
	c.H = uint32(sort.Search(1<<16-1, func(raw int) bool { return c.percent(raw, fine) >= percent }))
}

// The formulas in floating point (Bosch BME280 datasheet, 4.2.3 and appendix 8.1, from memory); the driver has those in integers.

func (c *BME280) word(register int) float64 {
	return float64(int16(binary.LittleEndian.Uint16(c.Calibration[register:])))
}

func (c *BME280) fine(raw int) float64 {
	t1 := float64(binary.LittleEndian.Uint16(c.Calibration[0x88:]))
	x := float64(raw)/131072 - t1/8192
	return 8*x*c.word(0x8a) + x*x*c.word(0x8c)
}

func (c *BME280) percent(raw int, fine float64) float64 {
	e5 := c.Calibration[0xe5]
	h1, h3, h6 := float64(c.Calibration[0xa1]), float64(c.Calibration[0xe3]), float64(int8(c.Calibration[0xe7]))
	h4 := float64(int8(c.Calibration[0xe4]))*16 + float64(e5&0xf)
	h5 := float64(int8(c.Calibration[0xe6]))*16 + float64(e5>>4)
	x := fine - 76800
	h := (float64(raw) - (64*h4 + h5/16384*x)) * c.word(0xe1) / 65536 * (1 + h6/67108864*x*(1+h3/67108864*x))
	return h * (1 - h1*h/524288)
}
