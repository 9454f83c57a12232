package main

import (
	"context"
	"crypto/ecdh"
	"crypto/rand"
	"crypto/x509"
	"encoding/base64"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/phone"
	"nestmon/exporter/phone/push"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
)

// A phone whose push service knows it no more is told of by the other channel, by the daemon's own alarm about a sink.
func TestALostPhoneIsToldByAnotherChannel(t *testing.T) {
	long(t)
	gone := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusGone) }))
	defer gone.Close()
	told := make(chan string, 100)
	mobile := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		told <- string(body)
	}))
	defer mobile.Close()
	s := newShed(t)
	s.cfg.Phone = &phone.Config{Channels: []phone.Channel{
		{Name: "mobile", URL: secret(mobile.URL), Format: "json"},
		{Name: "board", Push: &push.Config{Contact: "mailto:keeper@willow-bend.example"}},
	}}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute) // only for a daemon that hangs
	defer cancel()
	p, from := &stepPace{end: demoStart.AddDate(1, 0, 0), fin: cancel}, demoStart
	p.now.Store(&from)
	roots := x509.NewCertPool()
	roots.AddCert(gone.Certificate())
	d, err := newDaemon(s.cfg, parts{
		log: slog.New(slog.DiscardHandler), pace: p, trusted: func(time.Time) bool { return true }, push: push.Net{Home: true, Roots: roots},
		sources: func() ([]sensors.Source, error) {
			source, err := s.demo.story.World.Source(simulatedKind, p.Now, s.demo.probeIDs()...)
			return []sensors.Source{source}, err
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	d.sinks.now = func() time.Time { return time.Now().Add(wrongPatience) } // what is wrong has been so for long enough
	board := d.sinks.direct[slices.IndexFunc(d.sinks.direct, func(m exporter.MessageSink) bool { return m.Name() == "board" })].(*push.Channel)
	key, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	b64 := base64.RawURLEncoding
	if err := board.Subscribe(exporter.Subscription{
		Endpoint: secret(gone.URL + "/wp/1"), P256dh: b64.EncodeToString(key.PublicKey().Bytes()), Auth: secret(b64.EncodeToString(make([]byte, 16))), Label: "Ada",
	}); err != nil {
		t.Fatal(err)
	}
	if err := board.Send(ctx, exporter.Message{ID: "1", Event: alarm.Event{Severity: alarm.Urgent}}); !exporter.IsMisconfigured(err) {
		t.Fatalf("got %v", err)
	}
	// Until its pump has looked again: the alarm is told once, with what is wrong when it begins.
	for waits := true; waits && ctx.Err() == nil; time.Sleep(10 * time.Millisecond) {
		waits = !slices.ContainsFunc(d.sinks.health(), func(h exporter.SinkHealth) bool { return strings.Contains(h.Error, "no longer subscribed") })
	}
	ran := make(chan error, 1)
	go func() { ran <- d.run(ctx) }()
	for found := false; !found; {
		select {
		case body := <-told:
			found = strings.Contains(body, `the phone \"Ada\" is no longer subscribed: open the page there and sign up again`) && strings.Contains(body, "sink-fault")
		case err := <-ran:
			t.Fatalf("the daemon ended before the other channel told of the phone: %v", err)
		}
	}
	cancel()
	if err := <-ran; err != nil {
		t.Error(err)
	}
	ending, done := context.WithTimeout(context.Background(), 10*time.Second)
	defer done()
	if err := d.stop(ending); err != nil {
		t.Error(err)
	}
}
