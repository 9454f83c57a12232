package chip_test

import (
	"testing"

	"nestmon/sensors/i2c/chip"
)

// Sources: SHT3x-DIS datasheet v5 table 20 (BEEF), SCD4x datasheet v1.3 tables 18 and 19 (01E0, 7FCE, 0001), TI SNAU265C table 3-1 (ABAB),
// periph's test of hdc302x (ABCD).
func TestCRC8(t *testing.T) {
	for _, row := range []struct {
		high, low, want byte
	}{
		{0xbe, 0xef, 0x92}, {0x01, 0xe0, 0xb4}, {0x7f, 0xce, 0x7b}, {0x00, 0x01, 0xb0}, {0xab, 0xab, 0x72}, {0xab, 0xcd, 0x6f},
	} {
		if got := chip.CRC8([]byte{row.high, row.low}); got != row.want {
			t.Errorf("%02x%02x: got %02x, want %02x", row.high, row.low, got, row.want)
		}
	}
}

// A word and its checksum are 24 bits. The fault scripts flip up to three of them and count on none passing.
func TestUpToThreeFlippedBitsNeverPass(t *testing.T) {
	for _, word := range [][2]byte{{0x66, 0x66}, {0x00, 0x00}, {0xff, 0xff}, {0x93, 0x1d}} {
		good := uint32(word[0])<<16 | uint32(word[1])<<8 | uint32(chip.CRC8(word[:]))
		for i := range 24 {
			for j := i; j < 24; j++ {
				for k := j; k < 24; k++ {
					flips := uint32(1)<<i | uint32(1)<<j | uint32(1)<<k
					bad := good ^ flips
					if chip.CRC8([]byte{byte(bad >> 16), byte(bad >> 8)}) == byte(bad) {
						t.Fatalf("%06x passes as %06x", good, bad)
					}
				}
			}
		}
	}
}
