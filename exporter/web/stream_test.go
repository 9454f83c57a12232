package web_test

import (
	"bufio"
	"context"
	"net/http"
	"runtime"
	"slices"
	"testing"
	"time"

	"nestmon/exporter/web"
)

// listening returns the address of a server on a real socket.
func listening(t *testing.T) (*web.Server, string) {
	t.Helper()
	s := server(t)
	if err := s.Start(); err != nil {
		t.Fatal(err)
	}
	publish(t, s)
	return s, "http://" + s.Addr()
}

// stream opens a stream, which ends with ctx.
func stream(ctx context.Context, t *testing.T, address, last string) (*http.Response, *bufio.Reader) {
	t.Helper()
	req, err := http.NewRequestWithContext(ctx, "GET", address+"/api/stream", nil)
	if err != nil {
		t.Fatal(err)
	}
	if last != "" {
		req.Header.Set("Last-Event-ID", last)
	}
	r, err := (&http.Transport{}).RoundTrip(req)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = r.Body.Close() })
	return r, bufio.NewReader(r.Body)
}

func TestStreamSendsTheNewestAndResumes(t *testing.T) {
	s, address := listening(t)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	r, in := stream(ctx, t, address, "")
	if got := r.Header.Get("Content-Type"); got != "text/event-stream" {
		t.Errorf("Content-Type %q", got)
	}
	first := events(t, in, "state", 1)
	for range 100 { // far faster than a stream may carry
		publish(t, s)
	}
	newest := newestID(ctx, t, address)
	got := 0
	for id := first[0]; id != newest; got++ {
		id = events(t, in, "state", 1)[0]
	}
	if got == 0 || got > 50 {
		t.Errorf("a hundred states came as %d events", got)
	}
	// What has been seen is not sent again, so that the first event after coming back is the one published now.
	_, back := stream(ctx, t, address, newest)
	publish(t, s)
	if have, want := events(t, back, "state", 1)[0], newestID(ctx, t, address); have != want {
		t.Errorf("after coming back: %q, want %q", have, want)
	}
}

// newestID is the id of the newest state.
func newestID(ctx context.Context, t *testing.T, address string) string {
	t.Helper()
	_, in := stream(ctx, t, address, "")
	return events(t, in, "state", 1)[0]
}

func TestAbandonedStreamsCostNothing(t *testing.T) {
	s, address := listening(t)
	before := runtime.NumGoroutine()
	for range 4 { // 4 × 60 is more than may be open at once
		ctx, leave := context.WithCancel(t.Context())
		for range 60 {
			_, in := stream(ctx, t, address, "")
			events(t, in, "state", 1)
		}
		leave()
		for runtime.NumGoroutine() > before+20 { // until the server has noticed; the test's own deadline ends a leak
			time.Sleep(10 * time.Millisecond)
		}
	}
	if r := get(s.Handler(), "GET", "/healthz"); r.StatusCode != 200 {
		t.Errorf("health: %d", r.StatusCode)
	}
}

func TestStreamsAreBounded(t *testing.T) {
	_, address := listening(t)
	var codes []int
	for range 70 {
		r, _ := stream(t.Context(), t, address, "")
		codes = append(codes, r.StatusCode)
	}
	if slices.Index(codes, 503) != 64 {
		t.Errorf("answers %v", codes)
	}
}

func TestCloseEndsStreams(t *testing.T) {
	s, address := listening(t)
	_, in := stream(t.Context(), t, address, "")
	events(t, in, "state", 1)
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	for range 2 {
		if err := s.Close(ctx); err != nil {
			t.Errorf("close: %v", err)
		}
	}
	for {
		if _, err := in.ReadByte(); err != nil {
			return
		}
	}
}
