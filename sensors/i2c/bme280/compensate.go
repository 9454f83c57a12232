package bme280

import "encoding/binary"

// calibration is what the maker burnt into the chip: T from register 88, H from A1 and E1.
type calibration struct {
	t1             uint16
	t2, t3         int16
	h1, h3         uint8
	h2, h4, h5, h6 int16
}

// parse takes the 26 bytes from register 88 and the 7 from E1. H4 and H5 are 12 bit with a sign and share byte E5.
func parse(low, high []byte) calibration {
	return calibration{
		t1: binary.LittleEndian.Uint16(low),
		t2: int16(binary.LittleEndian.Uint16(low[2:])),
		t3: int16(binary.LittleEndian.Uint16(low[4:])),
		h1: low[25],
		h2: int16(binary.LittleEndian.Uint16(high)),
		h3: high[2],
		h4: int16(int8(high[3]))<<4 | int16(high[4]&0xf),
		h5: int16(int8(high[5]))<<4 | int16(high[4]>>4),
		h6: int16(int8(high[6])),
	}
}

// blank reports whether a part of the calibration is missing that no chip is made without.
func (c calibration) blank() bool {
	return c.t1 == 0 || c.t2 == 0 || c.h2 == 0 || c.t1 == 0xffff
}

// temperature returns hundredths of °C and the fine temperature that humidity needs (integer formula of the Bosch BME280 datasheet,
// 4.2.3, from memory; checked against periph and the kernel).
func (c calibration) temperature(raw int32) (hundredths, fine int32) {
	x := ((raw>>3 - int32(c.t1)<<1) * int32(c.t2)) >> 11
	y := raw>>4 - int32(c.t1)
	fine = x + (((y*y)>>12)*int32(c.t3))>>14
	return (fine*5 + 128) >> 8, fine
}

// humidity returns 1/1024 % RH (same).
func (c calibration) humidity(raw, fine int32) int32 {
	x := fine - 76800
	wet := (raw<<14 - int32(c.h4)<<20 - int32(c.h5)*x + 16384) >> 15
	warm := (((x*int32(c.h6))>>10)*((x*int32(c.h3))>>11+32768))>>10 + 2097152
	v := wet * ((warm*int32(c.h2) + 8192) >> 14)
	v -= (((v >> 15) * (v >> 15)) >> 7 * int32(c.h1)) >> 4
	return min(max(v, 0), 419430400) >> 12
}
