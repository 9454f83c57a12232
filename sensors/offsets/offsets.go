// Package offsets keeps what probes were measured to be wrong by, in a file beside the archive that is only ever added to.
//
// Each line is one comparison, as JSON, with everything it rests on, so that in a year somebody can see where a correction came
// from. The newest line of a probe counts. A line is of a piece of hardware, not of a name: a new probe under an old name is
// not corrected by what was measured of the old one. A DS18B20 is known by its ROM, whoever reads it. A chip on I2C is known by its
// place alone: after changing one, compare it again, or write its offset into the configuration, which wins over this file.
package offsets

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
)

// File is the name of the file in the data folder.
const File = "offsets.jsonl"

// mode lets the group read, whatever the mask of who compared: what was measured is no secret, and 'nestmon check' wants it.
const mode = 0o640

// Record is one comparison.
type Record struct {
	Time     time.Time `json:"time"`
	Source   string    `json:"source"`   // as in the configuration
	Identity string    `json:"identity"` // as sensors.Found.Identity
	Probe    string    `json:"probe"`    // its name then, for people
	Chip     string    `json:"chip"`
	Method   string    `json:"method"`

	Temperature float64 `json:"temperature_offset_c"`
	Mean        float64 `json:"mean_c"`   // of the readings it rests on, as the chip gave them
	Spread      float64 `json:"spread_c"` // between the lowest and the highest of them
	Readings    int     `json:"readings"`
	Seconds     float64 `json:"seconds"` // they took
}

// Offset is the record as a configuration would hold it; the day is that of loc.
func (r Record) Offset(loc *time.Location) sensors.Offset {
	return sensors.Offset{Temperature: r.Temperature, Date: r.Time.In(loc).Format(time.DateOnly), Method: r.Method}
}

// Book is the newest record of each piece of hardware.
type Book map[hardware]Record

// hardware is what a comparison is of: a chip with a number of its own, or what is at a place that a kind of source names.
type hardware struct{ source, identity string }

// hardwareOf knows a chip by its ROM whichever kind of source reads it.
func hardwareOf(source, identity string) hardware {
	if ds18b20.IsROM(identity) {
		source = ""
	}
	return hardware{source, identity}
}

// Of looks a piece of hardware up.
func (b Book) Of(source, identity string) (Record, bool) {
	r, ok := b[hardwareOf(source, identity)]
	return r, ok
}

// Load reads the file below dir; where there is none the book is empty. A line that cannot be used is left out and told of: a probe that is
// not corrected is better than no daemon. One that counts and whose day in loc is yet to come is told of too.
func Load(dir string, now time.Time, loc *time.Location) (book Book, notes []string, err error) {
	path := filepath.Join(dir, File)
	text, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return Book{}, nil, nil
	case err != nil:
		return nil, nil, fmt.Errorf("reading offsets: %w", err)
	}
	book = Book{}
	lines := map[hardware]int{}
	note := func(line int, format string, args ...any) {
		notes = append(notes, fmt.Sprintf("%s:%d: ", path, line)+fmt.Sprintf(format, args...))
	}
	for i, line := range bytes.Split(text, []byte("\n")) {
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		r, problem := parse(line)
		if problem != "" {
			note(i+1, "%s; the line is left out: remove it, or compare the probe again", problem)
			continue
		}
		h := hardwareOf(r.Source, r.Identity)
		book[h], lines[h] = r, i+1
	}
	ahead := maps.Clone(lines)
	maps.DeleteFunc(ahead, func(h hardware, _ int) bool { return !book[h].Offset(loc).YetToCome(now, loc) })
	for _, line := range slices.Sorted(maps.Values(ahead)) {
		note(line, "the day of the comparison is yet to come, by this board's clock; the line counts: set the clock, or compare the probe again")
	}
	return book, notes, nil
}

func parse(line []byte) (r Record, problem string) {
	in := json.NewDecoder(bytes.NewReader(line))
	in.DisallowUnknownFields()
	if err := in.Decode(&r); err != nil || in.More() {
		return r, "not a record of a comparison"
	}
	if r.Source == "" || r.Identity == "" || r.Time.IsZero() {
		return r, "source, identity or time is missing"
	}
	r.Offset(time.UTC).Validate(func(path, why string) { problem = path + ": " + why })
	return r, problem
}

// Add puts a record at the end of the file and returns when it is on the disk. What is there is never changed.
func Add(dir string, r Record) (err error) {
	line, err := json.Marshal(r)
	if err != nil {
		return fmt.Errorf("storing the offset: %w", err)
	}
	if _, problem := parse(line); problem != "" {
		return fmt.Errorf("storing the offset: %s", problem)
	}
	f, err := os.OpenFile(filepath.Join(dir, File), os.O_RDWR|os.O_APPEND|os.O_CREATE, mode)
	if err != nil {
		return fmt.Errorf("storing the offset: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if err := f.Chmod(mode); err != nil {
		return fmt.Errorf("storing the offset: %w", err)
	}
	if torn, err := unended(f); err != nil {
		return fmt.Errorf("storing the offset: %w", err)
	} else if torn {
		line = append([]byte("\n"), line...)
	}
	if _, err := f.Write(append(line, '\n')); err != nil {
		return fmt.Errorf("storing the offset: %w", err)
	}
	if err := f.Sync(); err != nil {
		return fmt.Errorf("storing the offset: %w", err)
	}
	return syncDir(dir)
}

// unended reports whether a power cut left the last line without its end.
func unended(f *os.File) (bool, error) {
	st, err := f.Stat()
	if err != nil || st.Size() == 0 {
		return false, err
	}
	last := make([]byte, 1)
	_, err = f.ReadAt(last, st.Size()-1)
	return last[0] != '\n', err
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("storing the offset: %w", err)
	}
	return errors.Join(d.Sync(), d.Close())
}
