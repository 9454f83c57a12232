package main

import (
	"bytes"
	"errors"
	"log/slog"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
)

const bookedNests = `
site: {name: Meadow End, timezone: America/Denver, display: fahrenheit}
data: %[1]s
outside: shade
probes: [{id: oak-pile, source: recorded}, {id: oak-air, source: recorded}, {id: shade, source: recorded}, {id: elm-air, source: recorded}]
nests: [{id: oak, kind: wooden-box, cluster: [oak-pile], air: oak-air}, {id: elm, kind: wooden-box, air: elm-air}]
`

// birth is the hour at which the litter of these tests was born; litterEnds is now.
var (
	birth      = time.Date(2031, time.January, 3, 11, 0, 0, 0, time.UTC)
	litterEnds = birth.AddDate(0, 0, 12)
)

// booked is a daemon that holds twelve days of a litter, by the minute for the last two hours alone.
func booked(t *testing.T) (d *daemon, config string) {
	t.Helper()
	cfg, config := configured(t, bookedNests)
	var probes []sensors.Probe
	for _, p := range cfg.Probes {
		probes = append(probes, sensors.Probe{ID: p.ID, Quantities: []sensors.Quantity{sensors.Temperature}, Interval: 10 * time.Minute})
	}
	a, err := archive.Open(cfg.Data, archive.Options{Probes: probes, RawFor: 2 * time.Hour})
	if err != nil {
		t.Fatal(err)
	}
	for at := birth; at.Before(litterEnds); at = at.Add(10 * time.Minute) {
		c := exporter.Commit{Time: at}
		for id, v := range map[string]float64{"oak-pile": 37, "oak-air": 20, "shade": -5} {
			if night := at.Sub(birth); id == "oak-pile" && night >= 40*time.Hour && night < 44*time.Hour {
				v = 29
			}
			c.Readings = append(c.Readings, sensors.Reading{Probe: id, Quantity: sensors.Temperature, Time: at, Value: v})
		}
		if at.Equal(birth.Add(41 * time.Hour)) {
			e := alarm.Event{Time: at, Since: at, Nest: "oak", Name: alarm.ClusterChill, State: alarm.Raised, Severity: alarm.Urgent}
			other := e
			other.Nest = "elm"
			c.Events = []alarm.Event{e, other}
		}
		if at.Equal(birth.Add(42 * time.Hour)) {
			c.Acts = []alarm.Act{{Nest: "oak", Event: alarm.ClusterChill, Action: alarm.Acknowledge, At: at, By: "keeper"}}
		}
		if err := a.Commit(c); err != nil {
			t.Fatal(err)
		}
	}
	p := &stepPace{}
	p.now.Store(&litterEnds)
	n := func(kits int) *int { return &kits }
	b, _, _, err := book.New(bookRules(cfg), nil).With(litterEnds,
		book.Entry{What: book.Bred, Litter: 1, Nest: "oak", At: birth.AddDate(0, 0, -31), Doe: "<b>Hazel</b>"}, book.Entry{What: book.Kindled, Litter: 1, Nest: "oak", Kind: brood.WoodenBox, At: birth, Kits: n(8)},
		book.Entry{What: book.Lost, Litter: 1, At: birth.Add(44 * time.Hour), Kits: n(3), Cause: book.Chilled}, book.Entry{What: book.Bred, Litter: 2, Nest: "elm", At: birth, Doe: "Fern"})
	if err != nil {
		t.Fatal(err)
	}
	d = &daemon{cfg: cfg, archive: a, pace: p}
	d.book.Store(b)
	page := web.New(web.Config{Listen: web.None}, web.Site{}, history(a), slog.New(slog.DiscardHandler))
	page.Options = web.Options{Report: d.Report, Litters: d.Litters}
	door, err := openControl(cfg.Control, d, page.Handler())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := errors.Join(door.server.Close(), a.Close()); err != nil {
			t.Error(err)
		}
	})
	d.sinks = &sinks{page: page}
	return d, config
}

// The command and the page tell the same of a litter, from the hours where polls are gone.
func TestLitterReport(t *testing.T) {
	d, config := booked(t)
	if oldest, err := d.archive.Oldest(); err != nil || oldest.Before(litterEnds.Add(-4*time.Hour)) {
		t.Fatalf("polls are kept since %s, %v: the hours are not asked", oldest, err)
	}
	file := filepath.Join(t.TempDir(), "R.html")
	run := func(args ...string) (string, string, int) {
		var out, errs bytes.Buffer
		code := run(t.Context(), append([]string{"litter", "report", "--config", config}, args...), stdio{nil, &out, &errs})
		return out.String(), errs.String(), code
	}
	for _, args := range [][]string{{"--litter", "1"}, {"--nest", "oak"}} {
		text, errs, code := run(args...)
		for _, want := range []string{
			"Litter 1 of <b>Hazel</b>, in oak (wooden box), Meadow End", "under 4 h; over 0 h; measured 288 h; no data 0 h", "3 of 8 were lost on day 2, entered as chilled",
			"Outside: 23 °F", "kits too cold: once, urgent; answered after 60 min",
		} {
			if unwrapped := strings.Join(strings.Fields(text), " "); code != exitDone || !strings.Contains(unwrapped, want) {
				t.Errorf("%v: %d, %s, no %q in\n%s", args, code, errs, want, text)
			}
		}
	}
	if out, errs, code := run("--litter", "1", "--html", file); code != exitDone || !strings.Contains(out, file) {
		t.Errorf("%d, %s%s", code, out, errs)
	}
	page, err := os.ReadFile(file)
	if err != nil || !bytes.Contains(page, []byte("&lt;b&gt;Hazel")) {
		t.Errorf("%v, %s", err, page)
	}
	get := func(path string) *httptest.ResponseRecorder {
		w := httptest.NewRecorder()
		d.sinks.page.Handler().ServeHTTP(w, httptest.NewRequest("GET", "http://nestmon.local"+path, nil))
		return w
	}
	if w := get("/litter/1"); w.Code != 200 || !bytes.Equal(w.Body.Bytes(), page) || !strings.Contains(w.Header().Get("Content-Security-Policy"), "'sha256-") {
		t.Errorf("%d, %v", w.Code, w.Header())
	}
	if w := get("/litters"); w.Code != 200 || !strings.Contains(w.Body.String(), `href="litter/1"`) {
		t.Errorf("%d, %s", w.Code, w.Body)
	}
	for path, want := range map[string]string{"/litter/2": "enter its kindling first", "/litter/9": "no litter has the number 9", "/litter/oak": "named by its number"} {
		if w := get(path); w.Code != 404 || !strings.Contains(w.Body.String(), want) {
			t.Errorf("%s: %d, %s", path, w.Code, w.Body)
		}
	}
	for want, args := range map[string][]string{
		"which litter?": nil, "write --litter": {"--litter", "1", "--nest", "oak"}, "there is no litter 9": {"--litter", "9"}, "has had no kits": {"--nest", "elm"},
		"enter its kindling first": {"--litter", "2"}, "no such file": {"--litter", "1", "--html", filepath.Join(file, "x")},
	} {
		if _, errs, code := run(args...); code != exitWrongUse || !strings.Contains(errs, want) && !strings.Contains(errs, "not a directory") {
			t.Errorf("%v: %d, %s", args, code, errs)
		}
	}
}
