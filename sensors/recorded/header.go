package recorded

import (
	"bytes"
	"errors"
	"io"
	"slices"
	"strings"

	"nestmon/sensors"
)

// The columns, in the order in which they are written.
var columns = [...]string{"time", "probe", "temperature_c", "humidity_pct", "co2_ppm", "voltage_v", "current_a"}

const (
	timeColumn = iota
	probeColumn
	firstValue // and the others in sensors.Quantities order
)

// usual is how many columns a file has that knows of no battery; the messages name these.
const usual = firstValue + int(sensors.CO2) + 1

// header says at which place of a row each column stands, -1 where the file lacks it.
type header [len(columns)]int

func readHeader(l *lines) (h header, err error) {
	err = l.next()
	if errors.Is(err, io.EOF) {
		l.line = 1
		return h, l.errorf(0, "file is empty; the first line must be %s", strings.Join(columns[:usual], ","))
	}
	if err != nil {
		return h, err
	}
	l.fields[0] = bytes.TrimPrefix(l.fields[0], []byte("\xef\xbb\xbf")) // as spreadsheets begin a file
	for i := range h {
		h[i] = -1
	}
	var extra []string
	for i, f := range l.fields {
		c := slices.Index(columns[:], string(f))
		switch {
		case c < 0:
			extra = append(extra, `"`+string(f)+`"`)
		case h[c] >= 0:
			return h, l.errorf(l.column(i), "column %s is there twice; remove one", columns[c])
		default:
			h[c] = i
		}
	}
	switch {
	case extra != nil:
		return h, l.errorf(0, "unknown columns %s; write only %s", strings.Join(extra, ", "), strings.Join(columns[:], ", "))
	case h[timeColumn] < 0 || h[probeColumn] < 0:
		return h, l.errorf(0, "columns time and probe must both be there; write %s", strings.Join(columns[:usual], ","))
	case len(l.fields) == firstValue:
		return h, l.errorf(0, "no column holds a value; add one of %s", strings.Join(columns[firstValue:], ", "))
	}
	return h, nil
}

func (h header) width() (n int) {
	for _, at := range h {
		if at >= 0 {
			n++
		}
	}
	return n
}

// value is the place of a quantity's column.
func (h header) value(q sensors.Quantity) int { return h[firstValue+int(q)] }
