package web

import (
	"context"
	"net"
	"syscall"
	"time"

	"golang.org/x/net/netutil"
)

// maxConns bounds the connections at once: each costs memory that the daemon shares. Ours, no source: all streams, and as many beside them.
const maxConns = 2 * maxStreams

// listen opens an address whose connections end when a reader has confirmed nothing for so long, though the system would hold what is sent
// for a quarter of an hour.
func listen(address string, patience time.Duration) (net.Listener, error) {
	cfg := net.ListenConfig{Control: func(_, _ string, c syscall.RawConn) error { return impatient(c, patience) }}
	cfg.SetMultipathTCP(false) // whose sockets know no such end
	l, err := cfg.Listen(context.Background(), "tcp", address)
	if err != nil {
		return nil, err
	}
	return netutil.LimitListener(l, maxConns), nil
}
