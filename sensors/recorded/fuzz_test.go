package recorded_test

import (
	"bytes"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/recorded"
)

// FuzzReader: whatever a readings file holds, what is taken of it is in order, finite, and reads the same when it is written and read again.
func FuzzReader(f *testing.F) {
	files, _ := filepath.Glob("testdata/*.csv")
	for _, file := range files {
		if text, err := os.ReadFile(file); err == nil && len(text) < 4096 {
			f.Add(text)
		}
	}
	for _, text := range []string{
		"", "time,probe,temperature\n", "time,probe,temperature_c,humidity_pct\n2031-04-02T06:30:00Z,a1,21.50,55.00\n2031-04-02T06:30:30Z,a1,,54\n",
		"time,probe,temperature_c\n2031-03-30T02:30:00,a1,1e3\n", "time,probe,temperature_c\n0000-00-00T00:00:00Z,a1,NaN\n", "time,probe,temperature_c\n2031-04-02T06:30:00+99:99,\"a,1\",-0\n", "\xef\xbb\xbftime;probe\r\n",
	} {
		f.Add([]byte(text))
	}
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		first, whole := readAll(t, text, berlin)
		_, _ = recorded.MedianIntervals(bytes.NewReader(text), "F", berlin) // an error is an answer
		if !whole || len(first) == 0 {
			return
		}
		var b bytes.Buffer
		w := recorded.NewWriter(&b)
		w.WithBattery()
		for _, row := range first {
			if err := w.Write(row); err != nil {
				t.Fatalf("%q: what was read cannot be written: %v", text, err)
			}
		}
		if err := w.Flush(); err != nil {
			t.Fatal(err)
		}
		again, whole := readAll(t, b.Bytes(), berlin)
		if !whole {
			t.Fatalf("%q: what was written cannot be read:\n%s", text, &b)
		}
		if n, m := count(first), count(again); n != m {
			t.Errorf("%q: %d values, and %d when written and read again:\n%s", text, n, m, &b)
		}
	})
}

func count(rows [][]sensors.Reading) (n int) {
	for _, row := range rows {
		n += len(row)
	}
	return n
}

// readAll reads until the end, or what is wrong.
func readAll(t *testing.T, text []byte, loc *time.Location) (rows [][]sensors.Reading, whole bool) {
	t.Helper()
	r := recorded.NewReader(bytes.NewReader(text), "F", loc)
	var last time.Time
	for {
		row, err := r.Next()
		if errors.Is(err, io.EOF) {
			return rows, true
		}
		if err != nil {
			return rows, false
		}
		for _, reading := range row {
			if math.IsNaN(reading.Value) || math.IsInf(reading.Value, 0) || reading.Probe == "" || reading.Time.Before(last) {
				t.Fatalf("%q: read %+v after %v", text, reading, last)
			}
			last = reading.Time
		}
		rows = append(rows, append([]sensors.Reading(nil), row...))
	}
}
