package archive

import (
	"encoding/binary"
	"math"

	"nestmon/sensors"
)

// absent is the one packed number that is no value.
const absent = math.MinInt16

// series is one column: a quantity of a probe, in steps of scale.
type series struct {
	id       int64
	probe    string
	quantity sensors.Quantity
	scale    float64 // units per step
	known    bool    // false for a quantity this program does not know; its values are left out
}

// pack turns a value into steps, or reports that it does not fit.
func (s series) pack(v float64) (int16, bool) {
	n := math.Round(v * s.perUnit())
	if s.scale >= 1 {
		n = math.Round(v / s.scale)
	}
	if !(n > absent && n <= math.MaxInt16) { // false for NaN too
		return absent, false
	}
	return int16(n), true
}

// unpack is the exact inverse: it gives the float nearest to the decimal number, as sensors.Quantity.Quantise does.
func (s series) unpack(n int16) float64 { return s.value(float64(n)) }

// value turns steps, whole or not, into the quantity's unit.
func (s series) value(steps float64) float64 {
	if s.scale >= 1 {
		return steps * s.scale
	}
	return steps / s.perUnit()
}

// perUnit is the number of steps in a unit, whole for scales below 1: dividing by 100 is exact where multiplying by 0.01 is not.
func (s series) perUnit() float64 { return math.Round(1 / s.scale) }

func packRow(steps []int16) []byte {
	b := make([]byte, 0, 2*len(steps))
	for _, n := range steps {
		b = binary.BigEndian.AppendUint16(b, uint16(n))
	}
	return b
}

// column reads column i of a packed row; a row that is too short holds nothing there.
func column(row []byte, i int) (int16, bool) {
	if 2*i+2 > len(row) {
		return absent, false
	}
	n := int16(binary.BigEndian.Uint16(row[2*i:]))
	return n, n != absent
}
