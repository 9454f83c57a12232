package litter

import (
	"fmt"
	"time"
)

// Date is a day of the calendar. The zero Date means none, null in JSON.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// DateOf is the date of an instant in loc, or none for the zero time.
func DateOf(at time.Time, loc *time.Location) Date {
	if at.IsZero() {
		return Date{}
	}
	y, m, d := at.In(loc).Date()
	return Date{y, m, d}
}

// ParseDate reads YYYY-MM-DD.
func ParseDate(text string) (Date, error) {
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return Date{}, fmt.Errorf("date %q is not one; write year-month-day, like 2025-03-01", text)
	}
	return DateOf(t, time.UTC), nil
}

// UnmarshalText reads YYYY-MM-DD.
func (d *Date) UnmarshalText(text []byte) (err error) {
	*d, err = ParseDate(string(text))
	return err
}

// Add is the date days later; none stays none.
func (d Date) Add(days int) Date {
	if d.IsZero() {
		return d
	}
	return DateOf(time.Date(d.Year, d.Month, d.Day+days, 0, 0, 0, 0, time.UTC), time.UTC)
}

// IsZero reports whether there is no date.
func (d Date) IsZero() bool { return d == Date{} }

// Noon is the middle of the date in loc, an instant that no change of the clocks moves to another date.
func (d Date) Noon(loc *time.Location) time.Time {
	return time.Date(d.Year, d.Month, d.Day, 12, 0, 0, 0, loc)
}

// Begin is the first instant of the date in loc: local midnight, or what takes its place where the clocks are changed at midnight.
func (d Date) Begin(loc *time.Location) time.Time { return NextDay(d.Add(-1).Noon(loc), loc) }

// String writes YYYY-MM-DD, or nothing.
func (d Date) String() string {
	if d.IsZero() {
		return ""
	}
	return d.Noon(time.UTC).Format(time.DateOnly)
}

// MarshalJSON writes the date as a string, or null.
func (d Date) MarshalJSON() ([]byte, error) {
	if d.IsZero() {
		return []byte("null"), nil
	}
	return []byte(`"` + d.String() + `"`), nil
}
