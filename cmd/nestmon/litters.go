package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"nestmon/thresholds/book"
	"nestmon/thresholds/litter"
)

// litterColumns is the header of a litters file.
var litterColumns = []string{"nest", "bred", "kindled", "born", "ended"}

// readLitters reads a litters file. A bare date is that day's local midnight.
func readLitters(file string, cfg *config) ([]litter.Litter, error) {
	f, err := openInput(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	in := csv.NewReader(f)
	in.FieldsPerRecord = len(litterColumns)
	header, err := in.Read()
	if errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("%s:1: the file is empty; write the header %s", file, strings.Join(litterColumns, ","))
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w; write the header %s", file, err, strings.Join(litterColumns, ","))
	}
	for i, want := range litterColumns {
		if header[i] != want {
			return nil, fmt.Errorf("%s:1: column %d is %q; write the header %s", file, i+1, header[i], strings.Join(litterColumns, ","))
		}
	}
	nests := map[string]bool{}
	for _, n := range cfg.Nests {
		nests[n.ID] = true
	}
	var all []litter.Litter
	for {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			return all, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", file, err)
		}
		line, _ := in.FieldPos(0)
		l, err := parseLitter(row, cfg.location())
		if err == nil && !nests[l.Nest] {
			err = fmt.Errorf("nest %q is not in the configuration", l.Nest)
		}
		if err != nil {
			return nil, fmt.Errorf("%s:%d: %w", file, line, err)
		}
		l.ID = int64(len(all) + 1)
		all = append(all, l)
	}
}

func parseLitter(row []string, loc *time.Location) (litter.Litter, error) {
	l := litter.Litter{Nest: row[0]}
	for _, at := range []struct {
		column int
		to     *time.Time
	}{{1, &l.Bred}, {2, &l.Kindled}, {4, &l.Ended}} {
		if row[at.column] == "" {
			continue
		}
		t, err := parseTime(row[at.column], loc)
		if err != nil {
			return l, fmt.Errorf("%s: %w", litterColumns[at.column], err)
		}
		*at.to = t
	}
	if row[3] != "" {
		n, err := strconv.Atoi(row[3])
		if err != nil {
			return l, fmt.Errorf("born %q is not a whole number", row[3])
		}
		l.Born = n
	}
	return l, checkLitter(l)
}

// checkLitter says what cannot be true of a litter.
func checkLitter(l litter.Litter) error {
	switch {
	case l.Bred.IsZero() && l.Kindled.IsZero():
		return errors.New("neither bred nor kindled is given; write at least one of them")
	case !l.Bred.IsZero() && !l.Kindled.IsZero() && l.Kindled.Before(l.Bred):
		return errors.New("kindled is before bred; look at both dates")
	case !l.Ended.IsZero() && (l.Ended.Before(l.Kindled) || l.Ended.Before(l.Bred)):
		return errors.New("ended is before the litter began; look at the dates")
	case l.Born < 0 || l.Born > book.MostKits:
		return fmt.Errorf("born %d is outside 0 to %d; write the number born alive", l.Born, book.MostKits)
	}
	return nil
}

// parseTime reads an RFC 3339 time, or a date as its first instant.
func parseTime(text string, loc *time.Location) (time.Time, error) {
	if date, err := litter.ParseDate(text); err == nil {
		return date.Begin(loc), nil
	}
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04"} {
		if t, err := time.ParseInLocation(layout, text, loc); err == nil {
			return t, nil
		}
	}
	return time.Time{}, fmt.Errorf("%q is not a time; write 2031-04-02 or 2031-04-02T06:30:00Z", text)
}
