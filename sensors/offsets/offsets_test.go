package offsets_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/offsets"
)

func record(rom string, by float64) offsets.Record {
	return offsets.Record{
		Time: time.Date(2031, 11, 2, 23, 30, 0, 0, time.UTC), Source: "w1", Identity: rom, Probe: "a1-cluster", Chip: "ds18b20",
		Method: sensors.IcePoint, Temperature: by, Mean: -by, Spread: 0.06, Readings: 40, Seconds: 300,
	}
}

func load(t *testing.T, dir string) (offsets.Book, []string) {
	t.Helper()
	book, unused, err := offsets.Load(dir, record("", 0).Time, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	return book, unused
}

func TestTheNewestRecordOfAPieceOfHardwareCounts(t *testing.T) {
	dir := t.TempDir()
	if book, unused := load(t, dir); len(book) != 0 || unused != nil {
		t.Fatalf("without a file: got %v, %q", book, unused)
	}
	for _, r := range []offsets.Record{record("28-000000000001", -0.31), record("28-000000000002", 0.5), record("28-000000000001", -0.25)} {
		if err := offsets.Add(dir, r); err != nil {
			t.Fatal(err)
		}
	}
	book, unused := load(t, dir)
	if r, ok := book.Of("w1", "28-000000000001"); !ok || r.Temperature != -0.25 || r.Readings != 40 || unused != nil {
		t.Errorf("got %+v, %q", r, unused)
	}
	text, err := os.ReadFile(filepath.Join(dir, offsets.File))
	if err != nil || strings.Count(string(text), "\n") != 3 {
		t.Errorf("%v: older lines are gone:\n%s", err, text)
	}
}

// A chip with a number of its own keeps its offset when another kind of source reads it; a place means nothing elsewhere.
func TestAROMIsOneChipWhoeverReadsIt(t *testing.T) {
	const rom, place = "28-000000000001", "/sys/bus/i2c/devices/1-0044"
	for _, row := range []struct {
		name                       string
		measured, identity, source string
		found                      bool
	}{
		{"the kernel's driver to nestmon's", "w1", rom, "onewire", true},
		{"back", "onewire", rom, "w1", true},
		{"a place", "kernel", place, "kernel", true},
		{"a place of another kind", "kernel", place, "i2c", false},
	} {
		t.Run(row.name, func(t *testing.T) {
			dir, r := t.TempDir(), record(row.identity, -0.31)
			r.Source = row.measured
			if err := offsets.Add(dir, r); err != nil {
				t.Fatal(err)
			}
			book, _ := load(t, dir)
			if got, ok := book.Of(row.source, row.identity); ok != row.found || ok && got.Temperature != -0.31 {
				t.Errorf("found %v: %+v", ok, got)
			}
		})
	}
}

// Only a line that counts is told of, and not one of this very day: a new comparison ends the warning.
func TestADayToCome(t *testing.T) {
	dir := t.TempDir()
	tomorrow := func(rom string) offsets.Record {
		r := record(rom, 0.5)
		r.Time = r.Time.Add(time.Hour)
		return r
	}
	for _, r := range []offsets.Record{record("28-000000000001", -0.31), tomorrow("28-000000000002"), tomorrow("28-000000000003"), record("28-000000000003", 0.5)} {
		if err := offsets.Add(dir, r); err != nil {
			t.Fatal(err)
		}
	}
	book, notes := load(t, dir)
	if len(notes) != 1 || !strings.Contains(notes[0], "offsets.jsonl:2: the day of the comparison is yet to come") {
		t.Errorf("got %q", notes)
	}
	if r, ok := book.Of("w1", "28-000000000002"); !ok || r.Temperature != 0.5 {
		t.Errorf("the line does not count: %+v", r)
	}
}

func TestTheDayIsThatOfTheSite(t *testing.T) {
	east := time.FixedZone("", 2*3600)
	if got := record("28-000000000001", 0).Offset(east).Date; got != "2031-11-03" {
		t.Errorf("got %s", got)
	}
}

func TestALineThatCannotBeUsedIsToldOfAndLeftOut(t *testing.T) {
	dir := t.TempDir()
	if err := offsets.Add(dir, record("28-000000000001", -0.31)); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, offsets.File)
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	whole := strings.TrimSpace(string(good))
	for _, row := range []struct{ name, line, want string }{
		{"cut by a power failure", whole[:len(whole)/2], "not a record of a comparison"},
		{"two in one", whole + whole, "not a record of a comparison"},
		{"of nothing", strings.Replace(whole, "28-000000000001", "", 1), "source, identity or time is missing"},
		{"beyond what a probe may be off", strings.Replace(whole, "-0.31", "-31", 1), "more than an offset may correct"},
		{"unknown method", strings.Replace(whole, "ice-point", "guess", 1), "is no method"},
		{"unknown key", strings.Replace(whole, `"probe"`, `"prob"`, 1), "not a record of a comparison"},
	} {
		t.Run(row.name, func(t *testing.T) {
			if err := os.WriteFile(path, []byte(whole+"\n"+row.line), 0o600); err != nil {
				t.Fatal(err)
			}
			if err := offsets.Add(dir, record("28-000000000003", 1)); err != nil { // after a line without its end
				t.Fatal(err)
			}
			book, unused := load(t, dir)
			if len(unused) != 1 || !strings.Contains(unused[0], ":2: ") || !strings.Contains(unused[0], row.want) {
				t.Errorf("got %q, want %q of line 2", unused, row.want)
			}
			if r, _ := book.Of("w1", "28-000000000001"); r.Temperature != -0.31 {
				t.Errorf("the good line before it is lost: %+v", book)
			}
			if r, _ := book.Of("w1", "28-000000000003"); r.Temperature != 1 {
				t.Errorf("the line after it is lost: %+v", book)
			}
		})
	}
}

func TestWhatCouldNotBeLoadedIsNotStored(t *testing.T) {
	dir := t.TempDir()
	if err := offsets.Add(dir, record("28-000000000001", 3.5)); err == nil {
		t.Error("3.5 °C was stored")
	}
	if book, _ := load(t, dir); len(book) != 0 {
		t.Errorf("got %v", book)
	}
	if err := offsets.Add(filepath.Join(dir, "nowhere"), record("28-000000000001", 0.5)); err == nil || !strings.Contains(err.Error(), "storing the offset") {
		t.Errorf("got %v", err)
	}
}
