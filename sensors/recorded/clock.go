package recorded

import "time"

// clock reads times and remembers the date it read last, because rows of one day follow one another.
type clock struct {
	loc  *time.Location
	date [10]byte
	day  int64 // Unix seconds at the start of date, in UTC
}

const timeRemedy = "write it as 2031-03-09T06:00:00Z, with an offset, or local without one"

// parse reads RFC 3339, or a local date, minute or second. It reports the reason when it cannot.
func (c *clock) parse(b []byte) (t time.Time, problem string) {
	if len(b) < len(c.date) {
		return t, "is not a time; " + timeRemedy
	}
	if [10]byte(b[:10]) != c.date || c.day == 0 {
		if problem := c.setDate(b[:10]); problem != "" {
			return t, problem
		}
	}
	var seconds, nanos int64
	rest := b[10:]
	if len(rest) > 0 {
		var ok bool
		seconds, nanos, rest, ok = timeOfDay(rest)
		if !ok {
			return t, "is not a time; " + timeRemedy
		}
	}
	if len(rest) == 0 {
		return c.local(seconds, nanos)
	}
	offset, ok := offsetOf(rest)
	if !ok {
		return t, "ends in something that is not an offset; write Z or one such as +01:00"
	}
	return time.Unix(c.day+seconds-offset, nanos).UTC(), ""
}

func (c *clock) setDate(b []byte) (problem string) {
	year, ok1 := digits(b[0:4])
	month, ok2 := digits(b[5:7])
	day, ok3 := digits(b[8:10])
	if !ok1 || !ok2 || !ok3 || b[4] != '-' || b[7] != '-' {
		return "is not a time; " + timeRemedy
	}
	t := time.Date(int(year), time.Month(month), int(day), 0, 0, 0, 0, time.UTC)
	if t.Month() != time.Month(month) || t.Day() != int(day) {
		return "is a day that no calendar has; correct it"
	}
	c.date, c.day = [10]byte(b), t.Unix()
	return ""
}

// local places a time of the remembered date in the location. An hour that comes twice in autumn is taken the first time.
func (c *clock) local(seconds, nanos int64) (time.Time, string) {
	d := time.Unix(c.day, 0).UTC()
	t := time.Date(d.Year(), d.Month(), d.Day(), 0, 0, int(seconds), int(nanos), c.loc)
	_, offset := t.Zone()
	if _, before := t.Add(-time.Hour).Zone(); before == offset+3600 { // the second of two equal hours; Date may give either
		t = t.Add(-time.Hour)
		offset = before
	}
	if missed := c.day + seconds - t.Unix() - int64(offset); missed != 0 {
		if seconds == 0 { // midnight itself may be skipped: the day begins later
			return t.Add(time.Duration(max(missed, 0)) * time.Second).UTC(), ""
		}
		return t, "does not exist in " + c.loc.String() + ", clocks were set forward; write it with an offset"
	}
	return t.UTC(), ""
}

// timeOfDay reads Thh:mm[:ss[.f]] and returns what follows.
func timeOfDay(b []byte) (seconds, nanos int64, rest []byte, ok bool) {
	if len(b) < 6 || b[0] != 'T' && b[0] != 't' && b[0] != ' ' || b[3] != ':' {
		return 0, 0, nil, false
	}
	hour, ok1 := digits(b[1:3])
	minute, ok2 := digits(b[4:6])
	if !ok1 || !ok2 || hour > 23 || minute > 59 {
		return 0, 0, nil, false
	}
	seconds, rest = hour*3600+minute*60, b[6:]
	if len(rest) == 0 || rest[0] != ':' {
		return seconds, 0, rest, true
	}
	if len(rest) < 3 {
		return 0, 0, nil, false
	}
	second, ok3 := digits(rest[1:3])
	if !ok3 || second > 59 {
		return 0, 0, nil, false
	}
	seconds, rest = seconds+second, rest[3:]
	if len(rest) == 0 || rest[0] != '.' {
		return seconds, 0, rest, true
	}
	n := 1
	for scale := int64(1e8); n < len(rest) && rest[n] >= '0' && rest[n] <= '9'; n++ {
		nanos += int64(rest[n]-'0') * scale
		scale /= 10
	}
	return seconds, nanos, rest[n:], n > 1
}

// offsetOf reads Z or ±hh:mm, in seconds east of Greenwich.
func offsetOf(b []byte) (int64, bool) {
	if len(b) == 1 && (b[0] == 'Z' || b[0] == 'z') {
		return 0, true
	}
	if len(b) != 6 || b[0] != '+' && b[0] != '-' || b[3] != ':' {
		return 0, false
	}
	hour, ok1 := digits(b[1:3])
	minute, ok2 := digits(b[4:6])
	if !ok1 || !ok2 || hour > 23 || minute > 59 {
		return 0, false
	}
	seconds := hour*3600 + minute*60
	if b[0] == '-' {
		seconds = -seconds
	}
	return seconds, true
}

func digits(b []byte) (n int64, ok bool) {
	for _, c := range b {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = n*10 + int64(c-'0')
	}
	return n, true
}
