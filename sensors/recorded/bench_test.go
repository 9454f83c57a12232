package recorded_test

import (
	"encoding/csv"
	"errors"
	"io"
	"strconv"
	"strings"
	"testing"
	"time"

	"nestmon/sensors/recorded"
)

const benchRows = 20000

// BenchmarkParse reads one log in three ways: with every check of this package, for the spacing alone, and with the
// standard library's parts without any check.
func BenchmarkParse(b *testing.B) {
	file := log(benchRows)
	run := func(name string, read func(r io.Reader) error) {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(file)))
			b.ReportAllocs()
			for b.Loop() {
				if err := read(strings.NewReader(file)); err != nil && !errors.Is(err, io.EOF) {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/benchRows, "ns/row")
		})
	}
	run("recorded", func(r io.Reader) error {
		reader := recorded.NewReader(r, "R.csv", time.UTC)
		for {
			if _, err := reader.Next(); err != nil {
				return err
			}
		}
	})
	run("intervals", func(r io.Reader) error {
		_, err := recorded.MedianIntervals(r, "R.csv", time.UTC)
		return err
	})
	run("encoding-csv", func(r io.Reader) error {
		reader := csv.NewReader(r)
		reader.ReuseRecord = true
		if _, err := reader.Read(); err != nil {
			return err
		}
		for {
			row, err := reader.Read()
			if err != nil {
				return err
			}
			if _, err := time.Parse(time.RFC3339, row[0]); err != nil {
				return err
			}
			for _, f := range row[2:] {
				if f == "" {
					continue
				}
				if _, err := strconv.ParseFloat(f, 64); err != nil {
					return err
				}
			}
		}
	})
}
