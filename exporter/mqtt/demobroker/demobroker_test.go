package demobroker_test

import (
	"errors"
	"io"
	"log/slog"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"nestmon/exporter/mqtt/demobroker"
)

func start(t *testing.T) *demobroker.Broker {
	t.Helper()
	b, err := demobroker.Start(0, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	return b
}

func TestListensOnLoopbackOnly(t *testing.T) {
	if b := start(t); !strings.HasPrefix(b.Addr(), "127.0.0.1:") || b.URL() != "tcp://"+b.Addr() {
		t.Errorf("listens on %s as %s", b.Addr(), b.URL())
	}
}

func TestPortInUse(t *testing.T) {
	b := start(t)
	_, port, err := net.SplitHostPort(b.Addr())
	if err != nil {
		t.Fatal(err)
	}
	n, err := net.LookupPort("tcp", port)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := demobroker.Start(n, slog.New(slog.DiscardHandler)); err == nil || !strings.Contains(err.Error(), "choose another port") {
		t.Errorf("got %v, want an error with a remedy", err)
	}
}

// TestHugePacketIsRefused announces a CONNECT of 268,435,455 bytes, the largest length MQTT 3.1.1 can express (2.2.3).
func TestHugePacketIsRefused(t *testing.T) {
	said := make(lines, 16)
	b, err := demobroker.Start(0, slog.New(slog.NewTextHandler(said, &slog.HandlerOptions{Level: slog.LevelWarn})))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	c, err := net.Dial("tcp", b.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = c.Close() }()
	if _, err := c.Write([]byte{0x10, 0xff, 0xff, 0xff, 0x7f}); err != nil {
		t.Fatal(err)
	}
	if err := c.SetReadDeadline(time.Now().Add(20 * time.Second)); err != nil {
		t.Fatal(err)
	}
	if _, err := io.ReadAll(c); errors.Is(err, os.ErrDeadlineExceeded) {
		t.Fatal("the broker waits for the rest of it")
	}
	// Its log is the last thing the broker does for a connection; closing it any earlier is a race inside it.
	if line := <-said; !strings.Contains(line, "read connection") {
		t.Errorf("the broker says %q", line)
	}
}

// lines is a log of which each line can be waited for.
type lines chan string

func (l lines) Write(p []byte) (int, error) {
	l <- string(p)
	return len(p), nil
}
