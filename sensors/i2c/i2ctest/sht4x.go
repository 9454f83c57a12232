package i2ctest

import (
	"encoding/binary"
	"math"
	"time"
)

// SHT4x takes one command at a time, acknowledges nothing while it is busy, and gives an answer once.
type SHT4x struct {
	Celsius, Humidity float64
	Serial            uint32
	Damaged           bool // both words of a measurement are 8000

	slow   int
	free   time.Time // busy until then
	answer []byte    // ready when free
}

// sht4xBusy is how long a command takes (Sensirion SHT4x datasheet v7.1, as docs.rs sht4x-rs quotes it; heater pulses from memory).
var sht4xBusy = map[byte]time.Duration{
	0xfd: 8300 * time.Microsecond, 0xf6: 4500 * time.Microsecond, 0xe0: 1700 * time.Microsecond,
	0x94: time.Millisecond, 0x89: 0,
	0x39: 1100 * time.Millisecond, 0x2f: 1100 * time.Millisecond, 0x1e: 1100 * time.Millisecond,
	0x32: 110 * time.Millisecond, 0x24: 110 * time.Millisecond, 0x15: 110 * time.Millisecond,
}

// Tx takes a command, or gives the answer to the last one.
func (c *SHT4x) Tx(w, r []byte) error {
	if time.Now().Before(c.free) {
		if len(w) != 1 || w[0] != 0x94 { // a reset ends what it does
			return ErrNack
		}
	}
	if len(w) > 0 {
		busy, known := sht4xBusy[w[0]]
		if len(w) != 1 || !known {
			return ErrNack
		}
		c.free = time.Now().Add(busy * time.Duration(max(c.slow, 1)))
		switch w[0] {
		case 0x94:
			c.answer = nil
		case 0x89:
			c.answer = append(sensirion(uint16(c.Serial>>16)), sensirion(uint16(c.Serial))...)
		default:
			c.answer = append(sensirion(c.temperature()), sensirion(c.humidity())...)
		}
	}
	if len(r) == 0 {
		return nil
	}
	if c.answer == nil || time.Now().Before(c.free) {
		return ErrNack
	}
	for i := range r {
		r[i] = 0xff // nobody drives the line after the last byte
	}
	copy(r, c.answer)
	c.answer = nil
	return nil
}

// Reset is a loss of supply.
func (c *SHT4x) Reset() { c.answer, c.free = nil, time.Now().Add(time.Millisecond) }

// Slow makes everything take so many times as long.
func (c *SHT4x) Slow(factor int) { c.slow = factor }

func (c *SHT4x) temperature() uint16 {
	if c.Damaged {
		return 0x8000
	}
	return ticks((c.Celsius + 45) / 175)
}

func (c *SHT4x) humidity() uint16 {
	if c.Damaged {
		return 0x8000
	}
	return ticks((c.Humidity + 6) / 125)
}

// ticks is a share of the range in 16 bit.
func ticks(share float64) uint16 { return uint16(math.Round(min(max(share, 0), 1) * 65535)) }

// sensirion is a word with its checksum.
func sensirion(word uint16) []byte {
	b := binary.BigEndian.AppendUint16(nil, word)
	return append(b, crc8(b))
}
