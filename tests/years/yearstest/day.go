package yearstest

import (
	"sort"
	"time"
)

// Day is a day of the story, 0 the first. None is no day.
type Day int

// None is the day of what did not happen.
const None Day = -1 << 30

// first is the first day of every story, a Wednesday: two years from it hold a leap day and lie behind us, so that a real daemon takes them too.
var first = time.Date(2023, time.January, 4, 0, 0, 0, 0, time.UTC)

// Date is the day as YYYY-MM-DD, empty for none. Dates are counted where no clock is ever changed.
func (d Day) Date() string {
	if d == None {
		return ""
	}
	return first.AddDate(0, 0, int(d)).Format(time.DateOnly)
}

// Begins is the first instant of the day in loc, found by looking: where the clocks are changed at midnight, no clock shows 00:00 that day.
func (d Day) Begins(loc *time.Location) time.Time {
	from := first.AddDate(0, 0, int(d)-1).Unix()
	const span = 3 * 24 * 60 // minutes
	date := d.Date()
	n := sort.Search(span, func(m int) bool { return time.Unix(from+60*int64(m), 0).In(loc).Format(time.DateOnly) >= date })
	return time.Unix(from+60*int64(n), 0).In(loc)
}

// At is an hour of the day in loc, counted from its beginning: 19.5 is half past seven in the evening, but for an hour on two days of a year.
func (d Day) At(hour float64, loc *time.Location) time.Time {
	return d.Begins(loc).Add(time.Duration(hour*60) * time.Minute)
}

// On is the day of an instant in loc, None for the zero time.
func On(at time.Time, loc *time.Location) Day {
	if at.IsZero() {
		return None
	}
	y, m, d := at.In(loc).Date()
	return Day(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Sub(first).Hours() / 24)
}

// season is the season of a day by its month.
func (d Day) season(south bool) string {
	month := first.AddDate(0, 0, int(d)).Month()
	if south {
		month = (month+5)%12 + 1
	}
	switch month {
	case time.December, time.January, time.February:
		return "winter"
	case time.June, time.July, time.August:
		return "summer"
	}
	return "mild"
}
