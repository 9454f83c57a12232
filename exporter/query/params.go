package query

import (
	"math"
	"net/http"
	"strconv"
	"time"
)

// The times that are answered, which 64-bit nanoseconds can hold. Tools that want all of it send times far beyond.
var (
	earliest = time.Unix(0, 0).UTC()
	latest   = time.Date(2200, 1, 1, 0, 0, 0, 0, time.UTC)
)

// params reads parameters and keeps the first problem.
type params struct {
	r       *http.Request
	problem *fault
}

func (p *params) fail(format string, args ...any) {
	if p.problem == nil {
		f := badData(format, args...)
		p.problem = &f
	}
}

func (p *params) text(name string) string { return p.r.Form.Get(name) }

// instant reads unix seconds, with a fraction or without, or RFC 3339. What lies beyond the times that are answered becomes the nearest of them.
func (p *params) instant(name string, fallback time.Time) time.Time {
	text := p.text(name)
	if text == "" {
		return fallback
	}
	t, err := time.Parse(time.RFC3339Nano, text)
	if s, numeric := strconv.ParseFloat(text, 64); numeric == nil && !math.IsNaN(s) {
		s = min(max(s, float64(earliest.Unix())), float64(latest.Unix()))
		t, err = time.UnixMilli(int64(math.Round(s*1000))).UTC(), nil
	}
	switch {
	case err != nil:
		p.fail("invalid parameter %q: %q is not a time; write unix seconds, or 2030-02-14T03:15:00Z", name, clip(text))
		return fallback
	case t.Before(earliest):
		return earliest
	case t.After(latest):
		return latest
	}
	return t
}

// limit reads how many there may be at most; 0 is no limit.
func (p *params) limit(name string) int {
	text := p.text(name)
	if text == "" {
		return math.MaxInt
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 {
		p.fail("invalid parameter %q: %q is not a whole number from 0 on", name, clip(text))
	}
	if n <= 0 {
		return math.MaxInt
	}
	return n
}

// refused answers with the problem, if there is one.
func (p *params) refused(w http.ResponseWriter) bool {
	if p.problem != nil {
		refuse(w, *p.problem)
	}
	return p.problem != nil
}

// clip keeps an error short whatever was sent.
func clip(s string) string {
	const most = 40
	if len(s) > most {
		return s[:most] + "…"
	}
	return s
}
