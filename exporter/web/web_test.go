package web_test

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

var noon = time.Date(2031, 7, 19, 12, 0, 0, 0, time.UTC)

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

func site() web.Site {
	probe := sensors.Probe{ID: "a1-air", Quantities: sensors.Quantities[:2], Interval: 30 * time.Second, StaleAfter: 90 * time.Second}
	return web.Site{Name: "Invented", Display: "fahrenheit", Poll: 30 * time.Second, Probes: []sensors.Probe{probe}}
}

func history() web.History {
	return web.History{
		Series: func(string, sensors.Quantity, time.Time, time.Time, int) ([]web.Point, error) {
			return []web.Point{{Time: noon.Add(-time.Hour), Min: 29.999, Mean: 30.5, Max: 31.004}}, nil
		},
		Events: func(time.Time, time.Time, int) ([]alarm.Event, error) { return nil, nil },
		Lines: func(wanted []web.Line, edges []time.Time) ([][]web.Point, error) {
			out := make([][]web.Point, len(wanted))
			for i, at := range edges[:len(edges)-1] {
				if i != 1 && wanted[0].Quantity == sensors.Temperature { // a hole
					out[0] = append(out[0], web.Point{Time: at, Min: 29.99, Mean: 30.504, Max: 31})
				}
			}
			return out, nil
		},
		Weightiest: func([]string, time.Time, time.Time, int) ([]alarm.Event, int, error) { return nil, 0, nil },
		Ends:       func([]string, time.Time) ([]alarm.Event, error) { return nil, nil },
		Kept:       func() (first, fine time.Time, err error) { return noon.AddDate(-2, 0, 0), noon.AddDate(0, -3, 0), nil },
	}
}

// server returns a page whose clock stands still.
func server(t testing.TB) *web.Server {
	t.Helper()
	s := web.New(web.Config{Listen: "127.0.0.1:0"}, site(), history(), quiet())
	s.Now = func() time.Time { return noon }
	t.Cleanup(func() { _ = s.Close(context.Background()) })
	return s
}

func state() *exporter.State {
	hot := 35.0
	return &exporter.State{
		Version: "test", Started: noon.Add(-time.Hour), Synced: true,
		Snapshot: thresholds.Snapshot{
			Time: noon, Season: brood.Summer,
			Nests: []thresholds.NestState{{
				ID: "a1", Kind: brood.WoodenBox, AgeDays: -1, Stage: thresholds.Empty, Limits: thresholds.LimitsInForce{AirHot: &hot},
				Values: []thresholds.Value{
					{Role: thresholds.Air, Probe: "a1-air", Quantity: sensors.Temperature, Value: 36.5, Time: noon.Add(-20 * time.Second), Fresh: true},
					{Role: thresholds.Air, Probe: "a1-air", Quantity: sensors.Humidity, Value: 55, Time: noon.Add(-time.Hour)},
					{Role: thresholds.Cluster, Probe: "a1-cluster", Quantity: sensors.Temperature, Value: math.NaN(), Time: noon, Fresh: true},
				},
				Judged:  []thresholds.Judgement{{Danger: "chill", Why: "No litter is entered."}},
				Learned: thresholds.Learned{Nights: 6, Follows: thresholds.Figure{Value: 31, Error: 4, N: 6, Known: true}, Text: []string{"follows"}},
			}},
			Alarms: []alarm.Standing{{Event: alarm.Event{Time: noon, Since: noon, Nest: "a1", Name: alarm.NestHeat, Severity: alarm.Warning, Text: "hot", Rule: "air over 30 °C"}}},
			Quiet:  []alarm.Standing{{Event: alarm.Event{Nest: "a1"}, Status: alarm.Shelved, By: "page", Until: noon.Add(time.Hour)}},
		},
	}
}

func publish(t testing.TB, s *web.Server) {
	t.Helper()
	if err := s.Publish(t.Context(), state()); err != nil {
		t.Fatal(err)
	}
}

// here is where a browser of the home finds the page.
const here = "http://nestmon.local:8380"

func get(h http.Handler, method, target string) *http.Response {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(method, here+target, nil))
	return w.Result()
}

func body(t testing.TB, r *http.Response) string {
	t.Helper()
	defer r.Body.Close()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestStateIsWhatWasPublished(t *testing.T) {
	s := server(t)
	if r := get(s.Handler(), "GET", "/api/state"); r.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("before the first state: %d", r.StatusCode)
	}
	publish(t, s)
	s.Now = func() time.Time { return noon.Add(7 * time.Second) }
	text := body(t, get(s.Handler(), "GET", "/api/state"))
	for name, want := range map[string]string{
		"age of the state":                  `"published_ago_s":7.0,`,
		"fresh value":                       `{"role":"air","probe":"a1-air","quantity":"temperature","unit":"C","value":36.5,"time":"2031-07-19T11:59:40Z","age_s":20,"fresh":true}`,
		"a stale value is no value":         `"quantity":"humidity","unit":"%","value":null,"time":"2031-07-19T11:00:00Z","age_s":3600,"fresh":false}`,
		"what is not a number is no value":  `"probe":"a1-cluster","quantity":"temperature","unit":"C","value":null,"time":"2031-07-19T12:00:00Z","age_s":0,"fresh":false}`,
		"a limit that is not in force":      `"limits":{"cluster_cold_c":null,"cluster_hot_c":null,"air_cold_c":null,"air_hot_c":35,"air_hot_urgent_c":null}`,
		"an unknown age":                    `"age_days":null,"litter":null`,
		"what is not judged":                `"judged":[{"danger":"chill","judged":false,"why":"No litter is entered."}]`,
		"what was learned, and what not":    `"learned":{"nights":6,"warm_empty_k":null,"warm_kits_k":null,"follows_min":{"value":31,"error":4,"n":6},`,
		"alarm":                             `{"nest":"a1","event":"nest-heat","chore":false,"alarm":true,"severity":"warning"`,
		"what an alarm rests on":            `"text":"hot","rule":"air over 30 °C","source":null,"acknowledged":null,"status":"unacknowledged","by":null,"until":null,"over":null,"because":null,"first":false,"latched":false,"longest_shelf_s":3600}`,
		"what is quiet":                     `"quiet":[{"nest":"a1","event":"","chore":false,"alarm":true,"severity":"none",`,
		"until when, and by whom":           `"status":"shelved","by":"page","until":"2031-07-19T13:00:00Z",`,
		"a probe nobody has heard of":       `{"probe":"a1-air","fresh":false,"reads":0,"rejected":{},"last_good":null,`,
		"lists are never null":              `"buses":[],"sinks":[],"nobody_called":true}`,
		"its own alarm tells of the limit":  `"past_limit":null}`,
		"a state is old after three polls":  `"timezone":"UTC","old_after_s":90}`,
		"outside without a probe is a list": `"outside":{"values":[],"thi_c":null}`,
	} {
		if !strings.Contains(text, want) {
			t.Errorf("%s: no %s in %s", name, want, text)
		}
	}
	if !json.Valid([]byte(text)) {
		t.Error("not JSON")
	}
}

func TestHealthFailsWhenStatesStop(t *testing.T) {
	s := server(t)
	publish(t, s)
	for _, tc := range []struct {
		after time.Duration
		want  int
	}{{0, 200}, {90 * time.Second, 200}, {91 * time.Second, 503}} {
		s.Now = func() time.Time { return noon.Add(tc.after) }
		if r := get(s.Handler(), "GET", "/healthz"); r.StatusCode != tc.want {
			t.Errorf("after %v: %d, want %d", tc.after, r.StatusCode, tc.want)
		}
	}
}

func TestEveryAnswerIsGuarded(t *testing.T) {
	s := server(t)
	publish(t, s)
	for _, target := range []string{"/", "/api/state", "/api/series?probe=a1-air", "/api/events", "/healthz", "/nothing", "/static/x/main.js"} {
		h := get(s.Handler(), "GET", target).Header
		csp := h.Get("Content-Security-Policy")
		if !strings.HasPrefix(csp, "default-src 'none'; script-src 'self'; style-src 'self'") || strings.Contains(csp, "unsafe") {
			t.Errorf("%s: policy %q", target, csp)
		}
		if h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("%s: headers %v", target, h)
		}
	}
}

func TestOnlyReads(t *testing.T) {
	s := server(t)
	publish(t, s)
	for _, method := range []string{"POST", "PUT", "DELETE", "PATCH", "OPTIONS", "CONNECT", "TRACE", "BREW"} {
		for _, target := range []string{"/", "/api/state", "/api/stream", "/nothing"} {
			if r := get(s.Handler(), method, target); r.StatusCode != http.StatusMethodNotAllowed || r.Header.Get("Allow") != "GET, HEAD" {
				t.Errorf("%s %s: %d", method, target, r.StatusCode)
			}
		}
	}
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, httptest.NewRequest("GET", here+"/api/state", strings.NewReader("x")))
	if w.Code != http.StatusBadRequest {
		t.Errorf("a request with a body: %d", w.Code)
	}
}

func TestPageAndFiles(t *testing.T) {
	s := server(t)
	page := body(t, get(s.Handler(), "GET", "/"))
	if strings.Contains(page, "@HASH@") || strings.Contains(page, "style=") || strings.Contains(page, "onclick") || strings.Contains(page, "//") {
		t.Error("the page holds a mark, inline code or another origin")
	}
	_, rest, _ := strings.Cut(page, `src="`)
	script, _, _ := strings.Cut(rest, `"`)
	r := get(s.Handler(), "GET", "/"+script)
	if r.StatusCode != 200 || r.Header.Get("Content-Type") != "text/javascript; charset=utf-8" || !strings.Contains(r.Header.Get("Cache-Control"), "immutable") {
		t.Errorf("script: %d %v", r.StatusCode, r.Header)
	}
	etag := r.Header.Get("ETag")
	req := httptest.NewRequest("GET", here+"/"+script, nil)
	req.Header.Set("If-None-Match", etag)
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, req)
	if w.Code != http.StatusNotModified || w.Body.Len() > 0 || etag == "" {
		t.Errorf("%s again with its tag %q: %d", script, etag, w.Code)
	}
	for _, target := range []string{"/static/0000000000000000/main.js", "/static/x/../../../etc/passwd", strings.Replace("/"+script, "main.js", "..%2f..%2fembed.go", 1), strings.Replace("/"+script, "main.js", "", 1)} {
		if r := get(s.Handler(), "GET", target); r.StatusCode == 200 {
			t.Errorf("%s was served", target)
		}
	}
}

func TestStartSaysWhatToDo(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	s := web.New(web.Config{Listen: l.Addr().String()}, site(), history(), quiet())
	err = s.Start()
	want := `page: address "` + l.Addr().String() + `" is in use by another program; stop that one, or write another port under publish.page.listen`
	if err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

func TestWebConfigFile(t *testing.T) {
	// An invented password, and its hash of the lowest cost.
	const password, hash = "willow-7741", "$2a$04$75K5oQdDChM.WRMK4URCaOPfAYjX/IW/wJiNeNWYtMN39UBkZzeHS"
	file := filepath.Join(t.TempDir(), "web.yml")
	put := func(text string) {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	s := web.New(web.Config{Listen: "127.0.0.1:0", WebConfigFile: file}, site(), history(), quiet())
	t.Cleanup(func() { _ = s.Close(context.Background()) })
	put("basic_auth_users: {barn: " + password + "}\n")
	if err := s.Start(); err == nil || !strings.HasPrefix(err.Error(), "publish.page.web_config_file: "+file) || strings.Contains(err.Error(), password) {
		t.Fatalf("a bad file: %v", err)
	}
	put("basic_auth_users: {barn: '" + hash + "'}\n")
	if err := s.Start(); err != nil {
		t.Fatal(err)
	}
	if err := s.Publish(t.Context(), state()); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{"/", "/api/state", "/api/stream", "/healthz"} {
		for user, want := range map[string]int{"": http.StatusUnauthorized, "barn:" + password + "@": http.StatusOK} {
			resp, err := http.Get("http://" + user + s.Addr() + path)
			if err != nil {
				t.Fatal(err)
			}
			_ = resp.Body.Close()
			if resp.StatusCode != want {
				t.Errorf("%s as %q: %d, want %d", path, user, resp.StatusCode, want)
			}
		}
	}
	if got := get(s.Handler(), http.MethodGet, "/api/state").StatusCode; got != http.StatusOK {
		t.Errorf("through the control socket: %d", got)
	}
	put("basic_auth_users: {barn: ''}\n")
	if err := s.Publish(t.Context(), state()); !exporter.IsMisconfigured(err) {
		t.Errorf("with a file that went bad: %v", err)
	}
}

func TestStartSaysWhere(t *testing.T) {
	var said strings.Builder
	s := web.New(web.Config{Listen: "127.0.0.1:0"}, site(), history(), slog.New(slog.NewTextHandler(&said, nil)))
	if err := s.Start(); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(t.Context()); err != nil {
		t.Fatal(err)
	}
	if want := `msg="serving the page" address=` + s.Addr() + "\n"; strings.Count(said.String(), want) != 1 {
		t.Errorf("logged %q, want one %q", said.String(), want)
	}
}

func TestConfigValidate(t *testing.T) {
	for _, tc := range []struct {
		name, listen string
		ok           bool
	}{
		{"default", web.DefaultConfig().Listen, true},
		{"none", "none", true},
		{"every network", ":8380", true},
		{"version 6", "[::1]:8380", true},
		{"no port", "127.0.0.1", false},
		{"empty", "", false},
		{"port a word", "127.0.0.1:web", false},
		{"port too large", "127.0.0.1:70000", false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			ok := true
			web.Config{Listen: tc.listen}.Validate(func(path, problem string) {
				ok = false
				if path != "listen" || !strings.Contains(problem, "; write ") {
					t.Errorf("%s: %s", path, problem)
				}
			})
			if ok != tc.ok {
				t.Errorf("ok %v, want %v", ok, tc.ok)
			}
		})
	}
}

// events reads n events called name from a stream.
func events(t testing.TB, r *bufio.Reader, name string, n int) (ids []string) {
	t.Helper()
	var kind, id string
	for len(ids) < n {
		line, err := r.ReadString('\n')
		if err != nil {
			t.Fatal(err)
		}
		line = strings.TrimSuffix(line, "\n")
		switch {
		case strings.HasPrefix(line, "event: "):
			kind = line[7:]
		case strings.HasPrefix(line, "id: "):
			id = line[4:]
		case line == "" && kind == name:
			ids, kind = append(ids, id), ""
		}
	}
	return ids
}

var errUnreadable = errors.New("the invented archive is broken at /somewhere/secret")
