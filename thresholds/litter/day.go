package litter

import (
	"sort"
	"time"
)

const secondsPerDay = 24 * 60 * 60

// Day counts the whole calendar days in loc from one instant to another: 0 on the same date, negative before it.
func Day(from, at time.Time, loc *time.Location) int {
	return int((civil(at, loc) - civil(from, loc)) / secondsPerDay)
}

// civil is the start of an instant's local date, in seconds of a calendar that knows no daylight saving.
func civil(at time.Time, loc *time.Location) int64 {
	y, m, d := at.In(loc).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix()
}

// NextDay is the first instant after at with a later date in loc: the next local midnight, or what takes its place where
// the clocks are changed at midnight. Until then Day answers the same for every instant, so callers can keep its answer.
func NextDay(at time.Time, loc *time.Location) time.Time {
	const longest = 49 * 60 * 60 // s: a date lived twice, and its hour of daylight saving
	y, m, d := at.In(loc).Date()
	midnight := time.Date(y, m, d+1, 0, 0, 0, 0, loc)
	if midnight.After(at) && Day(at, midnight, loc) == 1 && Day(at, midnight.Add(-time.Second), loc) == 0 { // nearly always, and a board asks at every poll
		return midnight
	}
	from := at.Unix() + 1
	n := sort.Search(longest, func(s int) bool {
		return Day(at, time.Unix(from+int64(s), 0), loc) > 0
	})
	return time.Unix(from+int64(n), 0).In(loc)
}

// StartOf is the first instant of the date that lies days after from's.
func StartOf(from time.Time, days int, loc *time.Location) time.Time {
	y, m, d := from.In(loc).Date()
	return NextDay(time.Date(y, m, d+days-1, 12, 0, 0, 0, loc), loc)
}
