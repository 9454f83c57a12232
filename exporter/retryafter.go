package exporter

import (
	"net/http"
	"strconv"
	"time"
)

// RetryAfter reads the header Retry-After: seconds, a day's at most, or a date (RFC 9110, 10.2.3). 0 when it says neither.
func RetryAfter(header string, now time.Time) time.Duration {
	if seconds, err := strconv.Atoi(header); err == nil {
		const longest = 24 * 60 * 60 // no overflow; whoever waits caps it lower
		return time.Duration(min(max(seconds, 0), longest)) * time.Second
	}
	if at, err := http.ParseTime(header); err == nil {
		return max(at.Sub(now), 0)
	}
	return 0
}
