package air_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// record is one row of a table under testdata, by column name.
type record map[string]string

func (r record) num(t testing.TB, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		t.Fatalf("column %s: %v", column, err)
	}
	return v
}

// load reads a table and fails unless it has the number of rows expected, so that a cut file cannot pass.
func load(t testing.TB, file string, rows int) []record {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", file))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.Close() })
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []record
	for _, line := range lines[1:] {
		r := record{}
		for i, name := range lines[0] {
			r[name] = line[i]
		}
		out = append(out, r)
	}
	if len(out) != rows {
		t.Fatalf("%s has %d rows, want %d", file, len(out), rows)
	}
	return out
}

// tolerance reads "0.6%" as relative to want and "0.1" as absolute.
func tolerance(t testing.TB, text string, want float64) float64 {
	t.Helper()
	number, relative := strings.CutSuffix(text, "%")
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		t.Fatal(err)
	}
	if relative {
		return math.Abs(want) * v / 100
	}
	return v
}

// near fails when got is further than tol from want; NaN always fails.
func near(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.6g, want %.6g ± %.2g", what, got, want, tol)
	}
}
