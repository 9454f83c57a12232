package book

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Columns that no form names, because every entry has them.
const (
	TheNumber Field = "entry"
	TheWhat   Field = "what"
	TheTime   Field = "on"
	TheBy     Field = "by"
	TheEntry  Field = "entered"
)

// Column is one thing an entry says, written as text: a column of the book's file, and what stands behind a flag.
type Column struct {
	Name  Field
	Takes Takes
	Help  string
	Get   func(e *Entry, loc *time.Location) string             // empty where the entry does not say it
	Set   func(e *Entry, text string, loc *time.Location) error // empty text takes it away
}

// Takes is what kind of text a column takes.
type Takes string

// What columns take.
const (
	ANumber Takes = "number" // of an entry or a litter
	ACount  Takes = "count"  // of kits
	AWord   Takes = "word"
	AWeight Takes = "weight"
	ALength Takes = "length"
	ATime   Takes = "time"
)

// Columns lists what an entry can say, in the order of the file. Set(Get) changes nothing.
var Columns = []Column{
	number(TheNumber, "the entry's number in the book", func(e *Entry) *int64 { return &e.ID }),
	number(InLitter, "the litter's number", func(e *Entry) *int64 { return &e.Litter }),
	word(TheWhat, "what happened: "+list(Whats), func(e *Entry) *What { return &e.What }),
	{
		TheTime, ATime, "when: a day such as 2031-04-03, a time such as 2031-04-03T06:30, today or yesterday; now where it is left out",
		func(e *Entry, loc *time.Location) string { return e.when(loc) },
		func(e *Entry, text string, loc *time.Location) (err error) {
			e.At, e.Day, err = ParseTime(text, loc)
			return err
		},
	},
	word(InNest, "the nest's id", func(e *Entry) *string { return &e.Nest }),
	word(ToNest, "the nest or cage it went to", func(e *Entry) *string { return &e.To }),
	number(WithOther, "the number of the other litter of a fostering", func(e *Entry) *int64 { return &e.With }),
	word(TheDoe, "the doe's name", func(e *Entry) *string { return &e.Doe }),
	word(TheBuck, "the buck's name", func(e *Entry) *string { return &e.Buck }),
	count(KitsField, "how many kits", func(e *Entry) **int { return &e.Kits }),
	count(DeadField, "kits born dead", func(e *Entry) **int { return &e.Dead }),
	word(TheCause, "why they were lost: "+list(Causes), func(e *Entry) *Cause { return &e.Cause }),
	word(TheFound, "what was felt: "+list(Findings), func(e *Entry) *Found { return &e.Found }),
	measure(InGrams, AWeight, "weight of all that were weighed, such as 412g or 0.9lb", grams, func(e *Entry) *float64 { return &e.Grams }),
	word(OfBedding, "what lies in the nest, such as straw", func(e *Entry) *string { return &e.Bedding }),
	measure(DepthCM, ALength, "how deep the bedding is, such as 8cm or 3in", centimetres, func(e *Entry) *float64 { return &e.Depth }),
	word(TheKind, "the nest's kind, as it was then: "+list(brood.Kinds), func(e *Entry) *brood.Kind { return &e.Kind }),
	word(TheSeason, "the season: "+list(brood.Seasons), func(e *Entry) *brood.Season { return &e.Season }),
	word(TheChore, "the chore that was done", func(e *Entry) *alarm.Name { return &e.Chore }),
	word(TheNote, "a note", func(e *Entry) *string { return &e.Note }),
	word(TheBy, "who wrote it down", func(e *Entry) *string { return &e.By }),
	{
		TheEntry, ATime, "when it was written down",
		func(e *Entry, loc *time.Location) string { return instant(e.Entered, loc) },
		func(e *Entry, text string, loc *time.Location) (err error) {
			e.Entered, _, err = ParseTime(text, loc)
			return err
		},
	},
	number(Earlier, "the number of the entry that this one corrects or strikes", func(e *Entry) *int64 { return &e.Replaces }),
}

// ColumnOf returns the column of that name.
func ColumnOf(name Field) (Column, bool) {
	for _, c := range Columns {
		if c.Name == name {
			return c, true
		}
	}
	return Column{}, false
}

func number(name Field, help string, at func(*Entry) *int64) Column {
	return Column{
		name, ANumber, help,
		func(e *Entry, _ *time.Location) string {
			if n := *at(e); n != 0 {
				return strconv.FormatInt(n, 10)
			}
			return ""
		},
		func(e *Entry, text string, _ *time.Location) error {
			n, err := strconv.ParseInt(text, 10, 64)
			if text != "" && (err != nil || n < 1) {
				return fmt.Errorf("%q is not a number of the book; write a whole number from 1", text)
			}
			*at(e) = n
			return nil
		},
	}
}

func count(name Field, help string, at func(*Entry) **int) Column {
	return Column{
		name, ACount, help,
		func(e *Entry, _ *time.Location) string {
			if n := *at(e); n != nil {
				return strconv.Itoa(*n)
			}
			return ""
		},
		func(e *Entry, text string, _ *time.Location) error {
			if text == "" {
				*at(e) = nil
				return nil
			}
			n, err := strconv.Atoi(text)
			if err != nil {
				return fmt.Errorf("%q is not a whole number; write how many, such as 8", text)
			}
			*at(e) = &n
			return nil
		},
	}
}

func word[T ~string](name Field, help string, at func(*Entry) *T) Column {
	return Column{
		name, AWord, help,
		func(e *Entry, _ *time.Location) string { return string(*at(e)) },
		func(e *Entry, text string, _ *time.Location) error {
			*at(e) = T(strings.TrimSpace(text))
			return nil
		},
	}
}

// unit is one way to write a measure.
type unit struct {
	name string
	is   float64 // of the first unit of its list
}

// The inch, the ounce and the pound are exact by definition (international yard and pound, 1959).
var (
	grams       = []unit{{"g", 1}, {"kg", 1000}, {"oz", 28.349523125}, {"lb", 453.59237}}
	centimetres = []unit{{"cm", 1}, {"mm", 0.1}, {"in", 2.54}}
)

func measure(name Field, takes Takes, help string, units []unit, at func(*Entry) *float64) Column {
	return Column{
		name, takes, help,
		func(e *Entry, _ *time.Location) string {
			if v := *at(e); v != 0 {
				return strconv.FormatFloat(v, 'f', -1, 64)
			}
			return ""
		},
		func(e *Entry, text string, _ *time.Location) error {
			if text == "" {
				*at(e) = 0
				return nil
			}
			digits := strings.TrimRightFunc(text, func(r rune) bool { return r >= 'a' && r <= 'z' || r == ' ' })
			given := strings.TrimSpace(text[len(digits):])
			v, err := strconv.ParseFloat(digits, 64)
			switch {
			case err != nil && strings.Contains(digits, ","):
				return fmt.Errorf("%q is not a number; write a point, as in %s", text, strings.ReplaceAll(digits, ",", "."))
			case err != nil:
				return fmt.Errorf("%q is not a measure; write one such as 8%s", text, units[0].name)
			}
			for _, u := range units {
				if given == u.name || given == "" {
					*at(e) = v * u.is
					return nil
				}
			}
			return fmt.Errorf("%q has an unknown unit; write one such as 8%s", text, units[0].name)
		},
	}
}

// when is the entry's time as text: the day alone where no more is known.
func (e *Entry) when(loc *time.Location) string {
	if e.Day && !e.At.IsZero() {
		return e.on(loc)
	}
	return instant(e.At, loc)
}

func instant(t time.Time, loc *time.Location) string {
	if t.IsZero() {
		return ""
	}
	return t.In(loc).Format(time.RFC3339Nano)
}

// ParseTime reads a day or a time; day reports that it was a day alone, whose first instant at is.
func ParseTime(text string, loc *time.Location) (at time.Time, day bool, err error) {
	if date, err := litter.ParseDate(text); err == nil {
		return date.Begin(loc), true, nil
	}
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04", "2006-01-02T15:04:05", "2006-01-02 15:04", "2006-01-02 15:04:05"} {
		if t, err := time.ParseInLocation(layout, text, loc); err == nil {
			return t, false, nil
		}
	}
	if strings.Count(text, "/") == 2 || strings.Count(text, ".") == 2 {
		return at, false, fmt.Errorf("%q can be read in two ways; write the day as year-month-day, like 2031-04-03", text)
	}
	return at, false, fmt.Errorf("%q is not a day or a time; write 2031-04-03, or 2031-04-03T06:30 where the hour matters", text)
}
