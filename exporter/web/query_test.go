package web_test

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
)

func TestSeries(t *testing.T) {
	type asked struct {
		probe    string
		q        sensors.Quantity
		from, to time.Time
		buckets  int
	}
	var got asked
	h := history()
	answer := h.Series
	h.Series = func(probe string, q sensors.Quantity, from, to time.Time, buckets int) ([]web.Point, error) {
		got = asked{probe, q, from, to, buckets}
		return answer(probe, q, from, to, buckets)
	}
	s := web.New(web.DefaultConfig(), site(), h, quiet())
	publish(t, s)
	r := get(s.Handler(), "GET", "/api/series?probe=a1-air")
	if want := (asked{"a1-air", sensors.Temperature, noon.Add(-24 * time.Hour), noon, 288}); r.StatusCode != 200 || got != want {
		t.Errorf("%d: asked for %v, want %v", r.StatusCode, got, want)
	}
	want := `{"probe":"a1-air","quantity":"temperature","unit":"C","from":"2031-07-18T12:00:00Z","to":"2031-07-19T12:00:00Z","step_s":300,"gap_s":600,"points":[[1942225200,30,30.5,31]]}`
	if text := body(t, r); text != want {
		t.Errorf("got %s, want %s", text, want)
	}
	get(s.Handler(), "GET", "/api/series?probe=a1-air&quantity=humidity&buckets=10&from=2031-07-01T00:00:00Z&to=2031-07-01T06:00:00%2B02:00")
	if got.q != sensors.Humidity || got.buckets != 10 || got.to.Sub(got.from) != 4*time.Hour {
		t.Errorf("asked for %v", got)
	}
}

func TestBadQueriesAreRefusedInPlainWords(t *testing.T) {
	s := server(t)
	publish(t, s)
	for _, tc := range []struct {
		name, target, want string
		status             int
	}{
		{"no probe", "/api/series", "which probe?", 400},
		{"unknown probe", "/api/series?probe=zz", `there is no probe "zz"`, 404},
		{"a probe that is code", "/api/series?probe=" + url.QueryEscape("a1-air'; drop table polls;--"), "there is no probe", 404},
		{"a probe that is a path", "/api/series?probe=..%2f..%2fetc", "there is no probe", 404},
		{"a very long probe", "/api/series?probe=" + strings.Repeat("a", 900), "…", 404},
		{"a nul byte", "/api/series?probe=a1-air%00", "there is no probe", 404},
		{"broken percent", "/api/series?probe=%zz", "cannot be read", 400},
		{"semicolons", "/api/series?probe=a1-air;buckets=5", "cannot be read", 400},
		{"twice", "/api/series?probe=a1-air&probe=a1-air", "give it once", 400},
		{"unknown parameter", "/api/series?probe=a1-air&step=5", "write one of: probe, quantity", 400},
		{"quantity", "/api/series?probe=a1-air&quantity=mood", "temperature, humidity, co2", 400},
		{"no buckets", "/api/series?probe=a1-air&buckets=0", "from 1 to 2000", 400},
		{"negative buckets", "/api/series?probe=a1-air&buckets=-5", "from 1 to 2000", 400},
		{"too many buckets", "/api/series?probe=a1-air&buckets=2001", "from 1 to 2000", 400},
		{"buckets beyond an integer", "/api/series?probe=a1-air&buckets=99999999999999999999", "from 1 to 2000", 400},
		{"too fine", "/api/series?probe=a1-air&buckets=2000&from=2031-07-19T11:59:00Z", "finer than a second", 400},
		{"not a time", "/api/series?probe=a1-air&from=yesterday", "is not a time", 400},
		{"a year beyond nanoseconds", "/api/series?probe=a1-air&to=9999-01-01T00:00:00Z", "between the years", 400},
		{"backwards", "/api/series?probe=a1-air&from=2031-07-19T12:00:01Z", "is not before", 400},
		{"too long a span", "/api/series?probe=a1-air&from=1970-01-01T00:00:00Z&to=2200-01-01T00:00:00Z", "hundred years", 400},
		{"events, too many", "/api/events?max=1001", "from 1 to 1000", 400},
		{"events, unknown parameter", "/api/events?nest=a1", "from, to, max", 400},
		{"no nest", "/api/nest", "which nest?", 400},
		{"unknown nest", "/api/nest?nest=zz", `there is no nest "zz"`, 404},
		{"a nest that is code", "/api/nest?nest=" + url.QueryEscape("a1' or 1=1--"), "there is no nest", 404},
		{"nest, too many buckets", "/api/nest?nest=a1&buckets=2001", "from 1 to 2000", 400},
		{"nest, too fine", "/api/nest?nest=a1&buckets=2000&from=2031-07-19T11:59:00Z", "finer than a second", 400},
		{"nest, backwards", "/api/nest?nest=a1&from=2031-07-19T12:00:01Z", "is not before", 400},
		{"rows of nothing", "/api/nest?nest=a1&by=fortnight", "hour, day, week", 400},
		{"too many rows", "/api/nest?nest=a1&by=hour&from=2030-07-19T12:00:01Z", "more than 2000 rows", 400},
		{"too many marks", "/api/nest?nest=a1&marks=501", "from 1 to 500", 400},
		{"litters by something", "/api/broods?nest=a1", "there is no parameter", 400},
		{"a huge query", "/api/state?" + strings.Repeat("x", 2000), "longer than", 400},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := get(s.Handler(), "GET", tc.target)
			var told struct{ Error string }
			text := body(t, r)
			if err := json.Unmarshal([]byte(text), &told); err != nil {
				t.Fatalf("%v in %s", err, text)
			}
			if r.StatusCode != tc.status || !strings.Contains(told.Error, tc.want) || len(told.Error) > 200 {
				t.Errorf("%d %q, want %d %q", r.StatusCode, told.Error, tc.status, tc.want)
			}
		})
	}
}

func FuzzQuery(f *testing.F) {
	for _, seed := range []string{"probe=a1-air&from=2031-07-19T00:00:00Z", "buckets=1;x", "%", "nest=a1&by=day", "nest=a1&marks=0&buckets=7", "max=-1", "to=0000-00-00"} {
		f.Add(seed)
	}
	s := server(f)
	publish(f, s)
	f.Fuzz(func(t *testing.T, raw string) {
		for _, path := range []string{"/api/series", "/api/events", "/api/nest", "/api/broods"} {
			req, err := http.NewRequest("GET", here+path, nil)
			if err != nil {
				t.Fatal(err)
			}
			req.URL.RawQuery = raw
			w := httptest.NewRecorder()
			s.Handler().ServeHTTP(w, req)
			if w.Code != 200 && w.Code != 400 && w.Code != 404 || !json.Valid(w.Body.Bytes()) {
				t.Errorf("%s?%s: %d %s", path, raw, w.Code, w.Body)
			}
		}
	})
}

func TestUnreadableArchiveTellsNoSecret(t *testing.T) {
	h := web.History{
		Series: func(string, sensors.Quantity, time.Time, time.Time, int) ([]web.Point, error) {
			return nil, errUnreadable
		},
		Events: func(time.Time, time.Time, int) ([]alarm.Event, error) { return nil, errUnreadable },
		Lines:  func([]web.Line, []time.Time) ([][]web.Point, error) { return nil, errUnreadable },
		Kept:   func() (first, fine time.Time, err error) { return },
	}
	s := web.New(web.DefaultConfig(), site(), h, quiet())
	publish(t, s)
	for _, target := range []string{"/api/series?probe=a1-air", "/api/events", "/api/nest?nest=a1"} {
		r := get(s.Handler(), "GET", target)
		if text := body(t, r); r.StatusCode != 503 || strings.Contains(text, "secret") || !strings.Contains(text, "see the daemon's log") {
			t.Errorf("%s: %d %s", target, r.StatusCode, text)
		}
	}
}

func TestEvents(t *testing.T) {
	h := history()
	h.Events = func(_, _ time.Time, limit int) ([]alarm.Event, error) {
		return []alarm.Event{{Time: noon, Since: noon, Name: alarm.Kindled, State: alarm.Noted, Severity: alarm.Notice, Nest: "a1", Text: "x"}}[:min(limit, 1)], nil
	}
	s := web.New(web.DefaultConfig(), site(), h, quiet())
	publish(t, s)
	text := body(t, get(s.Handler(), "GET", "/api/events?max=5"))
	if !strings.Contains(text, `"events":[{"time":"2031-07-19T12:00:00Z","nest":"a1","event":"kindled","state":"noted"`) {
		t.Error(text)
	}
	if text := body(t, get(server(t).Handler(), "GET", "/api/events")); !strings.Contains(text, `"events":[]`) {
		t.Error(text)
	}
}

// What graphing tools ask may be longer than what a page asks, and posted. Without somebody who answers there is nothing.
func TestGraphingToolsAskElsewhere(t *testing.T) {
	s := server(t)
	target := "/api/v1/query?query=" + strings.Repeat("x", 3000)
	if r := get(s.Handler(), "GET", target); r.StatusCode != http.StatusNotFound {
		t.Errorf("without an answer: %d", r.StatusCode)
	}
	s.Options.Queries = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { _, _ = io.WriteString(w, r.Method+" "+r.URL.Path) })
	for _, method := range []string{"GET", "POST"} {
		if text := body(t, get(s.Handler(), method, target)); text != method+" /api/v1/query" {
			t.Errorf("%s: %s", method, text)
		}
	}
	if r := get(s.Handler(), "GET", strings.Replace(target, "/v1/", "/", 1)); r.StatusCode != http.StatusBadRequest {
		t.Errorf("a long query of a page: %d", r.StatusCode)
	}
}
