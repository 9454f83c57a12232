package recorded

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"nestmon/sensors"
)

// Writer writes a readings file that the Reader accepts. Values are written in the archive's steps.
type Writer struct {
	w     *bufio.Writer
	begun bool
	last  time.Time
	seen  map[string]time.Time // newest row of each probe
	batch []sensors.Reading
	line  []byte
	width int // columns
}

// NewWriter writes to w. Flush ends the file.
func NewWriter(w io.Writer) *Writer {
	return &Writer{w: bufio.NewWriterSize(w, readSize), seen: make(map[string]time.Time), width: usual}
}

// WithBattery adds the columns of a battery. It is called before the first Write.
func (w *Writer) WithBattery() { w.width = len(columns) }

// Write adds the usable readings of one poll: one row for each probe and time, in time order. Faults are left out, as a gap
// is an absent row. Readings of an earlier time than a row already written are refused.
func (w *Writer) Write(readings []sensors.Reading) error {
	if err := w.begin(); err != nil {
		return err
	}
	w.batch = w.batch[:0]
	for _, r := range readings {
		if r.OK() {
			w.batch = append(w.batch, r)
		}
	}
	slices.SortStableFunc(w.batch, func(a, b sensors.Reading) int {
		if c := a.Time.Compare(b.Time); c != 0 {
			return c
		}
		return strings.Compare(a.Probe, b.Probe)
	})
	for start := 0; start < len(w.batch); {
		end := start + 1
		for end < len(w.batch) && w.batch[end].Probe == w.batch[start].Probe && w.batch[end].Time.Equal(w.batch[start].Time) {
			end++
		}
		if err := w.row(w.batch[start:end]); err != nil {
			return err
		}
		start = end
	}
	return nil
}

// Flush writes what is buffered, and the header of a file without rows.
func (w *Writer) Flush() error {
	if err := w.begin(); err != nil {
		return err
	}
	return w.w.Flush()
}

func (w *Writer) begin() error {
	if w.begun {
		return nil
	}
	w.begun = true
	_, err := w.w.WriteString(strings.Join(columns[:w.width], ",") + "\n")
	return err
}

// row writes the readings of one probe at one time.
func (w *Writer) row(readings []sensors.Reading) error {
	probe, at := readings[0].Probe, readings[0].Time
	if at.Before(w.last) {
		return fmt.Errorf("write readings: %s of probe %s is before a row already written; write in time order", at.UTC().Format(time.RFC3339Nano), probe)
	}
	if seen, ok := w.seen[probe]; ok && seen.Equal(at) {
		return fmt.Errorf("write readings: probe %s has two rows at %s; write each once", probe, at.UTC().Format(time.RFC3339Nano))
	}
	w.last, w.seen[probe] = at, at
	line := at.UTC().AppendFormat(w.line[:0], time.RFC3339Nano)
	line = append(append(line, ','), probe...)
	for _, q := range sensors.Quantities[:w.width-firstValue] {
		line = append(line, ',')
		for i := range readings {
			if readings[i].Quantity == q {
				line = appendValue(line, q, readings[i].Value)
				break
			}
		}
	}
	w.line = append(line, '\n')
	_, err := w.w.Write(w.line)
	return err
}

func appendValue(to []byte, q sensors.Quantity, v float64) []byte {
	decimals := 2
	if q.Step() >= 1 {
		decimals = 0
	}
	return strconv.AppendFloat(to, q.Quantise(v)+0, 'f', decimals, 64)
}
