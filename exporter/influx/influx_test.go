package influx_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"
	"weak"

	"nestmon/exporter"
	"nestmon/exporter/influx"
	"nestmon/exporter/sinktest"
	"nestmon/sensors"
	"nestmon/thresholds"
)

var places = map[string]influx.Place{
	"a1-air":     {Nest: "a1", Role: thresholds.Air},
	"a1-cluster": {Nest: "a1", Role: thresholds.Cluster},
	"outside":    {Role: thresholds.Outside},
	"bank":       {Role: thresholds.Battery},
}

func newSink(t *testing.T, url string) *influx.Sink {
	t.Helper()
	s, err := influx.New(influx.Config{URL: url, Org: "home", Bucket: "nest", Token: exporter.NewSecret(token)}, "barn", places)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	return s
}

func TestConformance(t *testing.T) {
	sinktest.ReadingSink(t, func(t *testing.T) sinktest.ReadingRig {
		far := newStub(t)
		return sinktest.ReadingRig{
			Sink: newSink(t, far.url()), Probes: []string{"a1-air", "outside"}, Got: far.arrivals,
			Far: sinktest.Far{
				Can: []sinktest.Conduct{sinktest.Fails, sinktest.Refuses, sinktest.Slow, sinktest.Hangs, sinktest.Absent},
				Set: far.conduct, Secret: token,
			},
		}
	})
}

var at = time.Date(2026, 1, 17, 12, 0, 0, 0, time.UTC)

func reading(probe string, q sensors.Quantity, v float64) sensors.Reading {
	return sensors.Reading{Probe: probe, Quantity: q, Time: at, Value: v}
}

func TestLines(t *testing.T) {
	later, faulty, unsynced := reading("a1-air", sensors.Temperature, 21), reading("a1-air", sensors.Temperature, 21), reading("a1-air", sensors.Temperature, 21)
	later.Time = at.Add(1400 * time.Millisecond)
	faulty.Fault = sensors.NoAnswer
	unsynced.Unsynced = true
	for _, row := range []struct {
		name     string
		readings []sensors.Reading
		want     string
	}{
		{"whole numbers stay floats and tags are sorted", []sensors.Reading{reading("a1-cluster", sensors.Temperature, 37)}, `nestmon,nest=a1,probe=a1-cluster,role=cluster,site=barn temperature=37 1768651200`},
		{"one line for a probe and second", []sensors.Reading{reading("a1-air", sensors.Temperature, 21.07), reading("a1-air", sensors.Humidity, 55.2), reading("a1-air", sensors.CO2, 812)}, `nestmon,nest=a1,probe=a1-air,role=air,site=barn co2=812,humidity=55.2,temperature=21.07 1768651200`},
		{"a probe outside has no nest", []sensors.Reading{reading("outside", sensors.Temperature, -7.31)}, `nestmon,probe=outside,role=outside,site=barn temperature=-7.31 1768651200`},
		{"a battery", []sensors.Reading{reading("bank", sensors.Voltage, 12.61), reading("bank", sensors.Current, -0.15)}, `nestmon,probe=bank,role=battery,site=barn current=-0.15,voltage=12.61 1768651200`},
		{"a probe without a place has no role", []sensors.Reading{reading("spare", sensors.Temperature, 5)}, `nestmon,probe=spare,site=barn temperature=5 1768651200`},
		{"the time of the reading counts", []sensors.Reading{later}, `nestmon,nest=a1,probe=a1-air,role=air,site=barn temperature=21 1768651201`},
		{"a fault is no field", []sensors.Reading{faulty, reading("a1-air", sensors.Humidity, 55)}, `nestmon,nest=a1,probe=a1-air,role=air,site=barn humidity=55 1768651200`},
		{"what was read before the clock was known is not sent", []sensors.Reading{unsynced}, ``},
		{"no number is no field", []sensors.Reading{reading("a1-air", sensors.Temperature, math.NaN()), reading("a1-air", sensors.Humidity, math.Inf(1))}, ``},
	} {
		t.Run(row.name, func(t *testing.T) {
			far := newStub(t)
			sink := newSink(t, far.url())
			polls := []exporter.StoredPoll{{Key: 1, Time: at, Readings: row.readings}}
			for range 2 { // the bytes of a repetition are the same
				if err := sink.Deliver(t.Context(), polls); err != nil {
					t.Fatal(err)
				}
			}
			if row.want == "" {
				if len(far.bodies) != 0 {
					t.Errorf("sent %q, want no request", far.bodies)
				}
				return
			}
			if len(far.bodies) != 2 || far.bodies[0] != row.want || far.bodies[1] != row.want {
				t.Errorf("sent %q, want twice %q", far.bodies, row.want)
			}
			if want := "/api/v2/write?bucket=nest&org=home&precision=s"; far.query != want {
				t.Errorf("asked %q, want %q", far.query, want)
			}
			if far.auth != "Token "+token {
				t.Error("the token was not sent")
			}
		})
	}
}

// polls makes n polls of one reading; the value is the poll's key.
func polls(n int) (all []exporter.StoredPoll) {
	for k := range n {
		when := at.Add(time.Duration(k) * 30 * time.Second)
		all = append(all, exporter.StoredPoll{Key: int64(k + 1), Time: when, Readings: []sensors.Reading{
			{Probe: "a1-air", Quantity: sensors.Temperature, Time: when, Value: float64(k + 1)},
		}})
	}
	return all
}

func TestAnswers(t *testing.T) {
	page := func(w http.ResponseWriter, _ []string) {
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprint(w, "<form>Welcome, please log in")
	}
	redirect := func(w http.ResponseWriter, _ []string) {
		w.Header().Set("Location", "/login")
		w.WriteHeader(http.StatusFound)
	}
	after := func(code int, header string) func(http.ResponseWriter, []string) {
		return func(w http.ResponseWriter, _ []string) {
			w.Header().Set("Retry-After", header)
			w.WriteHeader(code)
		}
	}
	drop := func(w http.ResponseWriter, _ []string) {
		c, _, err := w.(http.Hijacker).Hijack()
		if err == nil {
			_ = c.Close()
		}
	}
	json := func(w http.ResponseWriter, _ []string) {
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(http.StatusInternalServerError)
		fmt.Fprint(w, `{"error":"`+token+`"}`)
	}
	plain := func(code int) func(http.ResponseWriter, []string) {
		return func(w http.ResponseWriter, _ []string) { http.Error(w, "not here", code) }
	}
	for _, row := range []struct {
		name   string
		answer func(http.ResponseWriter, []string)
		wait   time.Duration
		with   string
	}{
		{"a captive portal's page", page, 0, "answer 200 (text/html) instead of 204; check"},
		{"a redirect", redirect, 0, "answer 302"},
		{"202", status(http.StatusAccepted, ""), 0, "answer 202"},
		{"401", status(http.StatusUnauthorized, "authorization failed for "+token), 5 * time.Minute, "401 authorization failed for (secret); check the token (publish.influxdb.token or token_file"},
		{"403", status(http.StatusForbidden, "forbidden"), 5 * time.Minute, "check the token (publish.influxdb.token or token_file"},
		{"404", status(http.StatusNotFound, "database not found"), 5 * time.Minute, `404 database not found; check publish.influxdb.url, org and bucket "nest"`},
		{"404 of another server", plain(http.StatusNotFound), 5 * time.Minute, "check publish.influxdb.url: nothing there takes readings"},
		{"400 of a port that wants TLS", plain(http.StatusBadRequest), 5 * time.Minute, "is it one that wants https://?"},
		{"405", status(http.StatusMethodNotAllowed, "no"), 5 * time.Minute, "check publish.influxdb.url"},
		{"408", status(http.StatusRequestTimeout, "slow"), 0, "408"},
		{"413 for a single line", status(http.StatusRequestEntityTooLarge, ""), 5 * time.Minute, "raise the limit of the server"},
		{"429", after(http.StatusTooManyRequests, "17"), 17 * time.Second, "429"},
		{"500", status(http.StatusInternalServerError, "engine: "+strings.Repeat("x", 5000)), 0, "500 engine"},
		{"500 in a form the library cannot read", json, 0, "500"},
		{"503 with Retry-After", after(http.StatusServiceUnavailable, "120"), 2 * time.Minute, "503"},
		{"503 with a date", after(http.StatusServiceUnavailable, "Wed, 21 Oct 2026 07:28:00 GMT"), 0, "503"},
		{"a lost reply", drop, 0, "no answer"},
	} {
		t.Run(row.name, func(t *testing.T) {
			far := newStub(t)
			far.set(row.answer)
			err := newSink(t, far.url()).Deliver(t.Context(), polls(4))
			var partly *exporter.PartlyRefused
			if err == nil || exporter.IsPermanent(err) || errors.As(err, &partly) {
				t.Fatalf("got %v, want an error that another try can cure", err)
			}
			var polite interface{ RetryAfter() time.Duration }
			wait := time.Duration(0)
			if errors.As(err, &polite) {
				wait = polite.RetryAfter()
			}
			if wait != row.wait {
				t.Errorf("asks to wait %v, want %v", wait, row.wait)
			}
			if text := err.Error(); !strings.Contains(text, row.with) || strings.Contains(text, token) || len(text) > 400 {
				t.Errorf("error %q, want %q in it, short and without the token", text, row.with)
			}
		})
	}
}

func TestOneBadLineIsFoundAndTheRestIsKept(t *testing.T) {
	for _, code := range []int{http.StatusBadRequest, http.StatusUnprocessableEntity} {
		far := newStub(t)
		far.set(func(w http.ResponseWriter, lines []string) {
			for _, l := range lines {
				if strings.Contains(l, "temperature=7 ") || strings.Contains(l, "temperature=90 ") {
					status(code, "field type conflict")(w, lines)
					return
				}
			}
			far.keep(lines)
			w.WriteHeader(http.StatusNoContent)
		})
		err := newSink(t, far.url()).Deliver(t.Context(), polls(100))
		var partly *exporter.PartlyRefused
		if !errors.As(err, &partly) {
			t.Fatalf("%d: got %v, want PartlyRefused", code, err)
		}
		var keys []int64
		for _, p := range partly.Polls {
			keys = append(keys, p.Key)
			if !strings.Contains(p.Reason, "field type conflict") {
				t.Errorf("%d: reason %q", code, p.Reason)
			}
		}
		if fmt.Sprint(keys) != "[7 90]" {
			t.Errorf("%d: refused %v, want 7 and 90", code, keys)
		}
		if got := len(far.arrivals()); got != 98 {
			t.Errorf("%d: %d arrived, want 98", code, got)
		}
	}
}

// A server that says it dropped all of a request is not asked line by line.
func TestWhatIsRefusedAsAWholeCostsFewRequests(t *testing.T) {
	far := newStub(t)
	far.set(func(w http.ResponseWriter, lines []string) {
		old := 0
		for _, l := range lines {
			if unix, _ := strconv.ParseInt(l[strings.LastIndex(l, " ")+1:], 10, 64); unix < at.Add(4000*30*time.Second).Unix() {
				old++
			}
		}
		if old > 0 { // as influxd does: the others are stored
			status(http.StatusBadRequest, fmt.Sprintf("partial write: points beyond retention policy dropped=%d", old))(w, lines)
			return
		}
		far.keep(lines)
		w.WriteHeader(http.StatusNoContent)
	})
	err := newSink(t, far.url()).Deliver(t.Context(), polls(5000))
	var partly *exporter.PartlyRefused
	if !errors.As(err, &partly) || len(partly.Polls) != 4000 || len(far.arrivals()) != 1000 {
		t.Fatalf("%.200v; %d arrived, want 4000 refused and 1000 arrived", err, len(far.arrivals()))
	}
	if reason := partly.Polls[0].Reason; reason != "influx: 400 partial write: points beyond retention policy" {
		t.Errorf("reason %q, want it the same for each, without the count", reason)
	}
	if n := len(far.bodies); n > 30 {
		t.Errorf("%d requests, want the boundary found by halving", n)
	}
}

func TestTooLargeIsHalved(t *testing.T) {
	far := newStub(t)
	far.set(func(w http.ResponseWriter, lines []string) {
		if len(lines) > 7 {
			w.WriteHeader(http.StatusRequestEntityTooLarge)
			return
		}
		far.keep(lines)
		w.WriteHeader(http.StatusNoContent)
	})
	if err := newSink(t, far.url()).Deliver(t.Context(), polls(100)); err != nil {
		t.Fatal(err)
	}
	if got := len(far.arrivals()); got != 100 {
		t.Errorf("%d arrived, want 100", got)
	}
}

func TestMostLinesInARequest(t *testing.T) {
	far := newStub(t)
	if err := newSink(t, far.url()).Deliver(t.Context(), polls(12_000)); err != nil {
		t.Fatal(err)
	}
	if len(far.bodies) != 3 || len(far.arrivals()) != 12_000 {
		t.Errorf("%d requests with %d lines, want 3 with 12000", len(far.bodies), len(far.arrivals()))
	}
}

// A daemon runs for years after its last outage.
func TestABacklogIsLetGo(t *testing.T) {
	sink := newSink(t, newStub(t).url())
	backlog := polls(2000)
	last := weak.Make(&backlog[len(backlog)-1])
	for _, some := range [][]exporter.StoredPoll{backlog, polls(1)} {
		if err := sink.Deliver(t.Context(), some); err != nil {
			t.Fatal(err)
		}
	}
	backlog = nil
	runtime.GC()
	if last.Value() != nil {
		t.Error("the sink still holds the polls of a backlog that has arrived")
	}
	runtime.KeepAlive(sink)
}

func TestADeadlineIsSeenAsOne(t *testing.T) {
	far := newStub(t)
	far.conduct(sinktest.Hangs)
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	if err := newSink(t, far.url()).Deliver(ctx, polls(1)); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("got %v, want it to be a deadline, so that the next delivery is smaller", err)
	}
}

func TestConfig(t *testing.T) {
	good := influx.Config{URL: "http://192.168.1.5:8086", Bucket: "nest", Token: exporter.NewSecret(token)}
	for _, row := range []struct {
		name   string
		change func(c *influx.Config)
		want   string
	}{
		{"good", func(*influx.Config) {}, ""},
		{"below a path", func(c *influx.Config) { c.URL = "https://example.org/influx" }, ""},
		{"no url", func(c *influx.Config) { c.URL = "" }, "url: is missing"},
		{"no scheme", func(c *influx.Config) { c.URL = "192.168.1.5:8086" }, "url: is not an http"},
		{"password in the url", func(c *influx.Config) { c.URL = "http://u:" + token + "@192.168.1.5:8086" }, "url: holds a user or password"},
		{"query in the url", func(c *influx.Config) { c.URL += "?token=" + token }, "url: has something after the path"},
		{"no bucket", func(c *influx.Config) { c.Bucket = "" }, "bucket: is missing"},
		{"a certificate for nothing", func(c *influx.Config) { c.CAFile = "ca.pem" }, "ca_file: is of no use with http://"},
		{"two tokens", func(c *influx.Config) { c.TokenFile = "t" }, "token_file: is given together with token"},
	} {
		t.Run(row.name, func(t *testing.T) {
			c := good
			row.change(&c)
			var got string
			c.Validate(func(path, problem string) { got += path + ": " + problem })
			if (row.want == "") != (got == "") || !strings.Contains(got, row.want) || strings.Contains(got, token) {
				t.Errorf("got %q, want %q and never the token", got, row.want)
			}
		})
	}
}

func TestTokenFile(t *testing.T) {
	file := filepath.Join(t.TempDir(), "token")
	for _, row := range []struct{ text, want string }{
		{token + "\n", ""},
		{"\n", "does not hold a token alone"},
		{token + "\nmore", "does not hold a token alone"},
	} {
		if err := os.WriteFile(file, []byte(row.text), 0o600); err != nil {
			t.Fatal(err)
		}
		far := newStub(t)
		sink, err := influx.New(influx.Config{URL: far.url(), Bucket: "nest", TokenFile: file}, "barn", places)
		if (row.want == "") != (err == nil) || err != nil && (!strings.Contains(err.Error(), row.want) || strings.Contains(err.Error(), token)) {
			t.Fatalf("%q: %v, want %q", row.text, err, row.want)
		}
		if err != nil {
			continue
		}
		if err := sink.Deliver(t.Context(), polls(1)); err != nil || far.auth != "Token "+token {
			t.Errorf("%v; the token of the file was not sent", err)
		}
	}
	if _, err := influx.New(influx.Config{URL: "http://x", TokenFile: file + "-absent"}, "barn", nil); err == nil {
		t.Error("a missing token file is no error")
	}
}
