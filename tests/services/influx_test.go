package services_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/exporter/influx"
	"nestmon/sensors"
	"nestmon/thresholds"
)

// influxd is a real server with accounts switched on.
type influxd struct {
	*process
	owner  *testing.T // the server lives as long as this test, through restarts in its subtests
	config string
	url    string
}

func startInfluxd(t *testing.T) *influxd {
	t.Helper()
	dir, web, rpc := t.TempDir(), freePort(t), freePort(t)
	s := &influxd{owner: t, url: fmt.Sprintf("http://127.0.0.1:%d", web), config: write(t, filepath.Join(dir, "c.toml"), fmt.Sprintf(`
reporting-disabled = true
bind-address = "127.0.0.1:%d"
meta = {dir = "%[3]s/meta"}
data = {dir = "%[3]s/data", wal-dir = "%[3]s/wal"}
http = {bind-address = "127.0.0.1:%[2]d", auth-enabled = true}
monitor = {store-enabled = false}
`, rpc, web, dir))}
	s.up(t)
	s.query(t, "CREATE USER admin WITH PASSWORD 'pw-9f3' WITH ALL PRIVILEGES")
	return s
}

func (s *influxd) up(t *testing.T) {
	t.Helper()
	s.process = start(s.owner, "influxd", "-config", s.config)
	s.ready(t, answers(s.url+"/health"))
}

// query asks in InfluxQL and returns the rows of the first series.
func (s *influxd) query(t *testing.T, q string) (columns []string, rows [][]any) {
	t.Helper()
	return s.queryIn(t, "", q)
}

// queryIn asks one database.
func (s *influxd) queryIn(t *testing.T, db, q string) (columns []string, rows [][]any) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, s.url+"/query?epoch=s&"+url.Values{"db": {db}, "q": {q}}.Encode(), nil)
	if err != nil {
		t.Fatal(err)
	}
	req.SetBasicAuth("admin", "pw-9f3")
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	text, _ := io.ReadAll(resp.Body)
	var answer struct {
		Results []struct {
			Error  string
			Series []struct {
				Columns []string
				Values  [][]any
			}
		}
	}
	if err := json.Unmarshal(text, &answer); err != nil || resp.StatusCode != http.StatusOK || answer.Results[0].Error != "" {
		t.Fatalf("%s: %d %s", q, resp.StatusCode, text)
	}
	if len(answer.Results[0].Series) == 0 {
		return nil, nil
	}
	return answer.Results[0].Series[0].Columns, answer.Results[0].Series[0].Values
}

// point is one value of one probe at one second.
type point struct {
	probe, quantity string
	unix            int64
	value           float64
}

// plant writes a line that is not ours.
func (s *influxd) plant(t *testing.T, db, line string) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, s.url+"/api/v2/write?precision=s&bucket="+db, strings.NewReader(line))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Authorization", "Token "+goodToken)
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	if _ = resp.Body.Close(); resp.StatusCode != http.StatusNoContent {
		t.Fatalf("planting %s: %s", line, resp.Status)
	}
}

// points reads everything in a database.
func (s *influxd) points(t *testing.T, db string) map[point]bool {
	t.Helper()
	all := map[point]bool{}
	columns, rows := s.query(t, fmt.Sprintf(`SELECT * FROM "%s"..nestmon`, db))
	for _, row := range rows {
		cell := map[string]any{}
		for i, c := range columns {
			cell[c] = row[i]
		}
		for _, q := range sensors.Quantities {
			if v, ok := cell[q.String()].(float64); ok {
				all[point{fmt.Sprint(cell["probe"]), q.String(), int64(cell["time"].(float64)), v}] = true
			}
		}
	}
	return all
}

func (s *influxd) sink(t *testing.T, bucket, token string) *influx.Sink {
	t.Helper()
	return sinkFor(t, s.url, bucket, token)
}

func sinkFor(t *testing.T, url, bucket, token string) *influx.Sink {
	t.Helper()
	sink, err := influx.New(influx.Config{URL: url, Org: "home", Bucket: bucket, Token: exporter.NewSecret(token)}, "barn", map[string]influx.Place{
		"a1-air": {Nest: "a1", Role: thresholds.Air}, "a1-cluster": {Nest: "a1", Role: thresholds.Cluster},
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(sink.Close)
	return sink
}

const goodToken = "admin:pw-9f3"

// quick is the daemon's pump, with its waits shortened and its cursor stored at once.
var quick = exporter.Options{MaxBackOff: 50 * time.Millisecond, Settle: -1, Batch: 10}

func stopPump(t *testing.T, p *exporter.Pump) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	if err := p.Stop(ctx); err != nil {
		t.Error(err)
	}
}

func compare(t *testing.T, got, want map[point]bool) {
	t.Helper()
	if maps.Equal(got, want) && len(want) > 0 {
		return
	}
	missing := maps.Clone(want)
	maps.DeleteFunc(missing, func(p point, _ bool) bool { return got[p] })
	tooMany := maps.Clone(got)
	maps.DeleteFunc(tooMany, func(p point, _ bool) bool { return want[p] })
	t.Errorf("the server has %d points, want %d; missing %v; too many %v", len(got), len(want),
		first(slices.Collect(maps.Keys(missing))), first(slices.Collect(maps.Keys(tooMany))))
}

func first(p []point) []point { return p[:min(len(p), 5)] }

func TestInfluxd(t *testing.T) {
	t.Parallel()
	binary(t, "influxd")
	server := startInfluxd(t)
	recent := time.Now().Add(-3 * time.Hour)

	t.Run("kill -9 and an outage of 100 polls", func(t *testing.T) {
		server.query(t, "CREATE DATABASE outage")
		store := &shelf{}
		store.add(20, recent)
		pump := exporter.NewReadingPump(server.sink(t, "outage", goodToken), store, quick)
		eventually(t, "the first 20 polls", func() bool { return store.at() == 20 })
		server.kill()
		for range 100 {
			store.add(1, recent)
			pump.Wake()
		}
		eventually(t, "the sink is reported as failed", func() bool { return !pump.Health().OK })
		eventually(t, "everything unsent is counted", func() bool { pump.Wake(); return pump.Health().Pending >= 300 })
		if store.at() != 20 {
			t.Errorf("cursor %d while the server is down, want 20", store.at())
		}
		server.up(t)
		// Our own end in mid-drain: the next pump starts from the cursor.
		eventually(t, "a part of the backlog", func() bool { return store.at() > 20 })
		stopPump(t, pump)
		pump = exporter.NewReadingPump(server.sink(t, "outage", goodToken), store, quick)
		eventually(t, "the newest poll", func() bool { return store.at() == 120 })
		stopPump(t, pump)
		compare(t, server.points(t, "outage"), store.want())

		// Everything once more changes nothing.
		store.cursor = 0
		pump = exporter.NewReadingPump(server.sink(t, "outage", goodToken), store, quick)
		eventually(t, "the newest poll again", func() bool { return store.at() == 120 })
		stopPump(t, pump)
		compare(t, server.points(t, "outage"), store.want())
	})

	t.Run("from the archive, opened again in mid-drain", func(t *testing.T) {
		server.query(t, "CREATE DATABASE archive")
		dir := t.TempDir()
		store := &shelf{}
		store.add(150, recent)
		opened := openArchive(t, dir)
		for _, p := range store.polls {
			if err := opened.Commit(exporter.Commit{Time: p.Time, Synced: true, Readings: p.Readings}); err != nil {
				t.Fatal(err)
			}
		}
		pump := exporter.NewReadingPump(server.sink(t, "archive", goodToken), opened, quick)
		eventually(t, "a part of the backlog", func() bool { return pump.Health().Sent > 0 })
		stopPump(t, pump)
		if err := opened.Close(); err != nil {
			t.Fatal(err)
		}
		opened = openArchive(t, dir)
		newest, _, err := opened.Newest()
		if err != nil {
			t.Fatal(err)
		}
		pump = exporter.NewReadingPump(server.sink(t, "archive", goodToken), opened, quick)
		eventually(t, "the newest poll", func() bool { key, err := opened.Cursor("influx"); return err == nil && key == newest })
		stopPump(t, pump)
		compare(t, server.points(t, "archive"), store.want())
	})

	t.Run("wrong token, then the right one", func(t *testing.T) {
		server.query(t, "CREATE DATABASE token")
		misconfigured(t, server, "token", "admin:wrong-2c8", "401", func() {})
	})
	t.Run("no such bucket, then it is made", func(t *testing.T) {
		misconfigured(t, server, "later", goodToken, "404", func() { server.query(t, "CREATE DATABASE later") })
	})

	t.Run("one line of the wrong type", func(t *testing.T) {
		server.query(t, "CREATE DATABASE conflict")
		store := &shelf{}
		store.add(60, recent)
		// Co2 becomes a text on the server, so the one poll with a number for it cannot be kept.
		server.plant(t, "conflict", fmt.Sprintf("nestmon,probe=planted co2=\"much\" %d", store.polls[0].Time.Unix()))
		bad := &store.polls[36]
		bad.Readings = append(bad.Readings, sensors.Reading{Probe: "b2-air", Quantity: sensors.CO2, Time: bad.Time, Value: 812})
		pump := exporter.NewReadingPump(server.sink(t, "conflict", goodToken), store, quick)
		eventually(t, "the newest poll", func() bool { return store.at() == 60 })
		stopPump(t, pump)
		if len(store.aside) != 1 || store.aside[0].Key != 37 || len(store.aside[0].Readings) != 1 || !strings.Contains(store.why[0], "field type conflict") {
			t.Errorf("set aside %+v because %q, want the one reading of poll 37", store.aside, store.why)
		}
		if h := pump.Health(); h.Failed != 1 || h.Sent != 180 {
			t.Errorf("health %+v, want 180 sent and 1 failed", h)
		}
		compare(t, server.points(t, "conflict"), store.want())
	})

	t.Run("older than the bucket keeps", func(t *testing.T) {
		server.query(t, `CREATE DATABASE short WITH DURATION 1h REPLICATION 1 NAME "rp"`)
		store := &shelf{}
		store.add(30, time.Now().Add(-30*time.Hour))
		old := len(store.polls)
		newer := &shelf{}
		newer.add(50, time.Now().Add(-26*time.Minute))
		store.polls = append(store.polls, newer.polls[old:]...)
		pump := exporter.NewReadingPump(server.sink(t, "short/rp", goodToken), store, quick)
		eventually(t, "the newest poll", func() bool { return store.at() == 50 })
		stopPump(t, pump)
		aside := 0
		for _, p := range store.aside {
			aside += len(p.Readings)
		}
		if aside != 30*3 {
			t.Errorf("%d readings set aside, want the 90 beyond retention", aside)
		}
		compare(t, server.points(t, "short"), store.want())
	})

	t.Run("dashboards", func(t *testing.T) {
		server.query(t, "CREATE DATABASE shown")
		sink, err := influx.New(influx.Config{URL: server.url, Org: "home", Bucket: "shown", Token: exporter.NewSecret(goodToken)}, "barn", map[string]influx.Place{
			"oak-cluster": {Nest: "oak", Role: thresholds.Cluster}, "oak-air": {Nest: "oak", Role: thresholds.Air}, "oak-cage": {Nest: "oak", Role: thresholds.Cage},
			"oak-co2": {Nest: "oak", Role: thresholds.CO2}, "outside": {Role: thresholds.Outside}, "bank": {Role: thresholds.Battery},
		})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(sink.Close)
		store := &shelf{}
		for key := int64(1); key <= 60; key++ {
			when := time.Now().Add(time.Duration(key-60) * 30 * time.Second).Truncate(time.Second)
			poll := exporter.StoredPoll{Key: key, Time: when}
			for _, v := range []struct {
				probe    string
				quantity sensors.Quantity
				value    float64
			}{
				{"oak-cluster", sensors.Temperature, 36},
				{"oak-air", sensors.Temperature, 18},
				{"oak-air", sensors.Humidity, 55},
				{"oak-cage", sensors.Temperature, 4},
				{"oak-co2", sensors.CO2, 900},
				{"outside", sensors.Temperature, -3},
				{"outside", sensors.Humidity, 80},
				{"bank", sensors.Voltage, 12.6},
				{"bank", sensors.Current, -0.2},
			} {
				poll.Readings = append(poll.Readings, sensors.Reading{Probe: v.probe, Quantity: v.quantity, Time: when, Value: v.value})
			}
			store.polls = append(store.polls, poll)
		}
		pump := exporter.NewReadingPump(sink, store, quick)
		eventually(t, "the newest poll", func() bool { return store.at() == 60 })
		stopPump(t, pump)
		grafanaOnInfluxdb(t, server, "shown", nil)
	})
}

func openArchive(t *testing.T, dir string) *archive.Archive {
	t.Helper()
	a, err := archive.Open(dir, archive.Options{Probes: []sensors.Probe{
		{ID: "a1-air", Quantities: []sensors.Quantity{sensors.Temperature, sensors.Humidity}},
		{ID: "a1-cluster", Quantities: []sensors.Quantity{sensors.Temperature}},
	}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	return a
}

// misconfigured delivers with what a person got wrong, puts it right, and wants everything to arrive.
func misconfigured(t *testing.T, server *influxd, bucket, token, want string, repair func()) {
	t.Helper()
	store := &shelf{}
	store.add(30, time.Now().Add(-time.Hour))
	pump := exporter.NewReadingPump(server.sink(t, bucket, token), store, quick)
	eventually(t, "the sink is reported as set up wrongly", func() bool { return pump.Health().Misconfigured })
	text := pump.Health().Error
	_, password, _ := strings.Cut(token, ":")
	if !strings.Contains(text, want) || !strings.Contains(text, "check ") || !strings.Contains(text, "publish.influxdb") || strings.Contains(text, password) {
		t.Errorf("error %q, want %s, what to check, and no password", text, want)
	}
	stopPump(t, pump)
	if store.at() != 0 || len(store.aside) != 0 {
		t.Errorf("cursor %d, %d set aside, want everything kept", store.at(), len(store.aside))
	}
	repair()
	pump = exporter.NewReadingPump(server.sink(t, bucket, goodToken), store, quick)
	eventually(t, "the newest poll", func() bool { return store.at() == 30 })
	stopPump(t, pump)
	compare(t, server.points(t, bucket), store.want())
}

// silence is the answer that never comes.
const silence = "no answer at all"

// oddAnswers are what a real server cannot be made to say: an answer of the network between, or of an overloaded server. After each
// everything is kept.
var oddAnswers = []struct {
	name   string
	answer http.HandlerFunc
	want   string // in the error
}{
	{"a captive portal's page", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprint(w, "<title>Log in</title>")
	}, "answer 200"},
	{"a redirect to a login page", func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "/login", http.StatusFound)
	}, "answer 302"},
	{"403", func(w http.ResponseWriter, _ *http.Request) { http.Error(w, "forbidden", http.StatusForbidden) }, "403"},
	{"503", func(w http.ResponseWriter, _ *http.Request) { http.Error(w, "busy", http.StatusServiceUnavailable) }, "503"},
	{"429", func(w http.ResponseWriter, _ *http.Request) { http.Error(w, "slower", http.StatusTooManyRequests) }, "429"},
	{"413 whatever is sent", func(w http.ResponseWriter, _ *http.Request) {
		http.Error(w, "too large", http.StatusRequestEntityTooLarge)
	}, "raise the limit"},
	{"a port that wants TLS", func(w http.ResponseWriter, _ *http.Request) {
		http.Error(w, "Client sent an HTTP request to an HTTPS server.", http.StatusBadRequest)
	}, "is it one that wants https://?"},
	{silence, func(_ http.ResponseWriter, r *http.Request) { <-r.Context().Done() }, "no answer"},
	{"stored but the reply is lost", func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) }, "no answer"},
}

func TestAnswersThatKeepTheCursorWhereItIs(t *testing.T) {
	for _, row := range oddAnswers {
		t.Run(row.name, func(t *testing.T) {
			address := fmt.Sprintf("127.0.0.1:%d", freePort(t))
			var mended atomic.Bool
			stub := &http.Server{Addr: address, Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				if !mended.Load() {
					// Read whole, or the server would not notice that the caller has gone.
					_, _ = io.Copy(io.Discard, r.Body)
					row.answer(w, r)
					return
				}
				w.WriteHeader(http.StatusNoContent)
			})}
			go func() {
				if err := stub.ListenAndServe(); !errors.Is(err, http.ErrServerClosed) {
					t.Error(err)
				}
			}()
			t.Cleanup(func() { _ = stub.Close() })
			eventually(t, "the stub listens", listens(address))
			store := &shelf{}
			store.add(25, time.Now().Add(-time.Hour))
			hasty := quick
			hasty.Timeout = 300 * time.Millisecond
			pump := exporter.NewReadingPump(sinkFor(t, "http://"+address, "nest", goodToken), store, hasty)
			eventually(t, "the sink is reported as failed, with "+row.want, func() bool { h := pump.Health(); return !h.OK && strings.Contains(h.Error, row.want) })
			if h := pump.Health(); h.Pending != 75 {
				t.Errorf("health %+v, want 75 waiting", h)
			}
			stopPump(t, pump)
			if store.at() != 0 || len(store.aside) != 0 {
				t.Errorf("cursor %d, %d set aside, want everything kept", store.at(), len(store.aside))
			}
			mended.Store(true)
			pump = exporter.NewReadingPump(sinkFor(t, "http://"+address, "nest", goodToken), store, hasty)
			eventually(t, "everything once that is over", func() bool { return store.at() == 25 })
			stopPump(t, pump)
		})
	}
}
