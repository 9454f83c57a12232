package main

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/metrics"
	"nestmon/exporter/mqtt"
	"nestmon/exporter/phone"
	"nestmon/thresholds/alarm"
)

// When every way to a phone fails, the page, the broker and the metrics say so after two minutes, and no sooner; one way that works again ends it.
func TestNoWayToThePhone(t *testing.T) {
	var well atomic.Bool
	service := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		if !well.Load() {
			w.WriteHeader(http.StatusBadGateway)
		}
	}))
	defer service.Close()
	s := newShed(t)
	s.cfg.Phone = &phone.Config{Channels: []phone.Channel{
		{Name: "mobile", URL: exporter.NewSecret("http://127.0.0.1:1/token-of-mobile")}, {Name: "board", URL: exporter.NewSecret(service.URL + "/token-of-board")},
	}}
	mute := func(d *daemon) bool { return exporter.Mute(d.sinks.health()) }
	calls := func(d *daemon, id string, want bool) {
		t.Helper()
		m := exporter.Message{ID: id, Time: demoStart, Kind: exporter.Trial, Title: "does this arrive"}
		if err := d.archive.Commit(exporter.Commit{Time: demoStart, Messages: []exporter.Message{m}}); err != nil {
			t.Fatal(err)
		}
		for end := time.Now().Add(20 * time.Second); mute(d) != want; time.Sleep(10 * time.Millisecond) {
			d.sinks.wake(true)
			if time.Now().After(end) {
				t.Fatalf("every way fails: %v, want %v: %+v", !want, want, d.sinks.health())
			}
		}
	}
	after := func(d *daemon, lasts time.Duration) {
		at := time.Now().Add(lasts)
		d.sinks.now = func() time.Time { return at }
	}
	var last *daemon
	_, standing := s.live(t, demoStart, demoStart.Add(3*time.Minute), func(d *daemon) {
		last = d
		if mute(d) {
			t.Error("mute before anything was sent")
		}
		calls(d, "first", true)
		after(d, deafAfter/2)
		if c, text := sinkWords(d, demoStart); c.Severity != alarm.None {
			t.Errorf("said after %s: %s", deafAfter/2, text)
		}
		well.Store(true)
		calls(d, "second", false)
		after(d, deafAfter)
		if c, text := sinkWords(d, demoStart); c.Severity != alarm.None {
			t.Errorf("said while one way works: %s", text)
		}
		after(d, sinkPatience)
		if c, text := sinkWords(d, demoStart); c.Count != 1 || !strings.HasPrefix(text, "Nothing gets through to mobile (") {
			t.Errorf("one of two: %+v %s", c, text)
		}
		well.Store(false)
		calls(d, "third", true)
		after(d, deafAfter+time.Second)
		c, text := sinkWords(d, demoStart)
		if c.Severity != alarm.Warning || c.Count != 2 || c.Rule != "no way to a phone works for 2 min" || c.Source != ours {
			t.Errorf("both fail: %+v", c)
		}
		after(d, sinkPatience+time.Second)
		if later, again := sinkWords(d, demoStart); again != text || later.Count != c.Count || strings.Contains(text, "token") {
			t.Errorf("said twice, or with a secret: %s, then %s", text, again)
		}
	})
	const words = "No way to your phone works: nobody can be called (mobile ("
	told := alarm.Find(standing, "", alarm.SinkFault)
	if told.Severity != alarm.Warning || !strings.HasPrefix(told.Text, words) || !strings.Contains(told.Text, "board (") {
		t.Fatalf("what stands: %+v", told)
	}

	state := &exporter.State{Snapshot: last.snapshot(), Sinks: last.sinks.health()}
	alert := ""
	for _, m := range (mqtt.Root{Base: "homie", Device: "barn"}).Tree(state).Values {
		if strings.HasSuffix(m.Topic, "/$alert/site-sink-fault") {
			alert = m.Payload
		}
	}
	if !strings.HasPrefix(alert, "warning: "+words) {
		t.Errorf("$alert: %q", alert)
	}
	get := func(h http.Handler, path string) string {
		rec := httptest.NewRecorder()
		h.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, "http://nestmon.local"+path, nil))
		return rec.Body.String()
	}
	sink := metrics.New()
	sink.Now = func() time.Time { return state.Snapshot.Time }
	if err := sink.Publish(t.Context(), state); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`nestmon_alarm_severity{event="sink-fault",nest=""} 2`, "nestmon_phone_unreachable 1", `nestmon_sink_up{sink="board"} 0`} {
		if text := get(sink.Handler(), "/metrics"); !strings.Contains(text, want+"\n") {
			t.Errorf("the metrics lack %s", want)
		}
	}
	var page stateView
	if err := json.Unmarshal([]byte(get(last.sinks.page.Handler(), "/api/state")), &page); err != nil {
		t.Fatal(err)
	}
	said := false
	for _, a := range page.Alarms {
		said = said || a.Event == string(alarm.SinkFault) && strings.HasPrefix(a.Text, words)
	}
	if !said {
		t.Errorf("the page lists %+v", page.Alarms)
	}
}
