package web_test

import (
	"bufio"
	"context"
	"io"
	"net"
	"net/http"
	"os"
	"runtime"
	"syscall"
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

// until waits for something that must come; the deadline only ends a test that hangs.
func until(t *testing.T, what string, came func() bool) {
	t.Helper()
	for end := time.Now().Add(30 * time.Second); !came(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("never: " + what)
		}
	}
}

// files is how many this process has open.
func files(t *testing.T) int {
	t.Helper()
	all, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Skip("this system does not list open files")
	}
	return len(all)
}

// abandon opens a stream and never reads from it, with room for some twenty states.
func abandon(t *testing.T, address string) net.Conn {
	t.Helper()
	dial := net.Dialer{Control: func(_, _ string, c syscall.RawConn) error {
		return c.Control(func(fd uintptr) { _ = syscall.SetsockoptInt(int(fd), syscall.SOL_SOCKET, syscall.SO_RCVBUF, 64<<10) })
	}}
	c, err := dial.DialContext(t.Context(), "tcp", address)
	if err == nil {
		_, err = c.Write([]byte("GET /api/stream HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"))
	}
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Phones that vanish without a word neither read nor say goodbye. They lose their places when the time to take an answer is over, and whoever
// looks meanwhile notices nothing.
func TestAHundredAbandonedStreamsCostNothingLasting(t *testing.T) {
	s := server(t)
	s.Hurry(time.Second, 300*time.Millisecond, 100*time.Millisecond)
	if err := s.Start(); err != nil {
		t.Fatal(err)
	}
	publish(t, s)
	ctx, leave := context.WithCancel(t.Context())
	defer leave()
	_, live := stream(ctx, t, "http://"+s.Addr(), "")
	events(t, live, "beat", 1)
	beats := make(chan struct{}, 1)
	go func() {
		for line, err := live.ReadString('\n'); err == nil; line, err = live.ReadString('\n') {
			if line == "event: beat\n" {
				select {
				case beats <- struct{}{}:
				default:
				}
			}
		}
		close(beats)
	}()
	goroutines, open := runtime.NumGoroutine(), files(t)
	var gone []net.Conn
	for range 100 {
		gone = append(gone, abandon(t, s.Addr()))
	}
	until(t, "all are open", func() bool { return s.Streams() == 101 })
	until(t, "the abandoned ones are given up", func() bool {
		publish(t, s) // at last more than they have room for
		return s.Streams() == 1 && runtime.NumGoroutine() <= goroutines && files(t) <= open+len(gone)
	})
	for range 3 {
		if _, ok := <-beats; !ok {
			t.Fatal("the stream that is read has ended")
		}
	}
	for _, c := range gone {
		_ = c.Close()
	}
	until(t, "the files are closed", func() bool { return files(t) <= open })
}

// from opens a stream from another address of this machine.
func from(ctx context.Context, t *testing.T, ip, address string) *bufio.Reader {
	t.Helper()
	dial := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.ParseIP(ip)}}
	c, err := dial.DialContext(ctx, "tcp", address)
	if err != nil {
		t.Skipf("this system has no %s: %v", ip, err)
	}
	t.Cleanup(func() { _ = c.Close() })
	if _, err := c.Write([]byte("GET /api/stream HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")); err != nil {
		t.Fatal(err)
	}
	return bufio.NewReader(c)
}

// Nobody is turned away, and who opens many loses the oldest of them, not those of others.
func TestWhoOpensManyStreamsLosesTheOldest(t *testing.T) {
	s := server(t)
	s.Hurry(time.Second, time.Second, 50*time.Millisecond)
	if err := s.Start(); err != nil {
		t.Fatal(err)
	}
	publish(t, s)
	kitchen := from(t.Context(), t, "127.0.0.1", s.Addr())
	events(t, kitchen, "state", 1)
	var many []*bufio.Reader
	for range 140 {
		r := from(t.Context(), t, "127.0.0.2", s.Addr())
		events(t, r, "state", 1)
		many = append(many, r)
	}
	if got := s.Streams(); got != 128 {
		t.Errorf("%d streams are open", got)
	}
	for i, r := range many[:13] {
		if _, err := io.Copy(io.Discard, r); err != nil {
			t.Errorf("stream %d: %v", i, err)
		}
	}
	publish(t, s)
	events(t, kitchen, "state", 1)
	events(t, many[13], "state", 1)
	events(t, many[139], "state", 1)
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
