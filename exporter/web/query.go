package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"nestmon/sensors"
)

// query reads parameters and keeps the first problem, so that a handler can ask for all of them and look once.
type query struct {
	values  url.Values
	now     time.Time // the newest state's own time
	problem string
	status  int
}

func (s *Server) parseQuery(r *http.Request, names ...string) *query {
	values, err := url.ParseQuery(r.URL.RawQuery)
	q := &query{values: values, now: s.Now(), status: http.StatusBadRequest}
	if f, _ := s.newest(); f != nil {
		q.now = f.state.Snapshot.Time
	}
	if err != nil {
		q.fail("the query cannot be read; write name=value pairs joined by &")
	}
	for name, list := range values {
		if !slices.Contains(names, name) {
			q.fail("there is no parameter %q; write one of: %s", clip(name), strings.Join(names, ", "))
		} else if len(list) > 1 {
			q.fail("%s is given %d times; give it once", name, len(list))
		}
	}
	return q
}

// fail keeps the first problem.
func (q *query) fail(format string, args ...any) {
	if q.problem == "" {
		q.problem = fmt.Sprintf(format, args...)
	}
}

// refused answers with the problem, if there is one.
func (q *query) refused(w http.ResponseWriter) bool {
	if q.problem == "" {
		return false
	}
	refuse(w, q.status, q.problem)
	return true
}

// span reads from and to. Absent, to is now and from is a day before to.
func (q *query) span() (from, to time.Time) {
	to = q.instant("to", q.now)
	from = q.instant("from", to.Add(-defaultSpan))
	switch {
	case !from.Before(to):
		q.fail("from %s is not before to %s", from.Format(time.RFC3339), to.Format(time.RFC3339))
	case to.Sub(from) > maxSpan:
		q.fail("from and to are more than a hundred years apart")
	}
	return from, to
}

// instant reads a time. The bounds keep it within what 64-bit nanoseconds can hold.
func (q *query) instant(name string, fallback time.Time) time.Time {
	text := q.values.Get(name)
	if text == "" {
		return fallback
	}
	t, err := time.Parse(time.RFC3339, text)
	switch {
	case err != nil:
		q.fail("%s %q is not a time; write it as 2030-02-14T03:15:00Z", name, clip(text))
		return fallback
	case t.Year() < 1970 || t.Year() > 2200:
		q.fail("%s %q is not between the years 1970 and 2200", name, clip(text))
		return fallback
	}
	return t
}

func (q *query) count(name string, fallback, most int) int {
	text := q.values.Get(name)
	if text == "" {
		return fallback
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > most {
		q.fail("%s %q is not a whole number from 1 to %d", name, clip(text), most)
		return fallback
	}
	return n
}

func (s *Server) wantProbe(q *query) sensors.Probe {
	id := q.values.Get("probe")
	p, ok := s.site.probe(id)
	switch {
	case id == "":
		q.fail("which probe? write probe=ID")
	case !ok:
		if q.problem == "" {
			q.status = http.StatusNotFound
		}
		q.fail("there is no probe %q", clip(id))
	}
	return p
}

func wantQuantity(q *query) sensors.Quantity {
	name := q.values.Get("quantity")
	if name == "" {
		return sensors.Temperature
	}
	var names []string
	for _, have := range sensors.Quantities {
		if have.String() == name {
			return have
		}
		names = append(names, have.String())
	}
	q.fail("there is no quantity %q; write one of: %s", clip(name), strings.Join(names, ", "))
	return sensors.Temperature
}

// clip keeps an error short whatever was sent.
func clip(s string) string {
	const most = 40
	if len(s) > most {
		return s[:most] + "…"
	}
	return s
}
