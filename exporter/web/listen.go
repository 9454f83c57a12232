package web

import (
	"context"
	"net"
	"sync"
	"syscall"
	"time"
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
	return bounded{l, make(chan struct{}, maxConns), make(chan struct{}), &sync.Once{}}, nil
}

// bounded takes no more connections than it has slots; the others wait outside.
type bounded struct {
	net.Listener
	slots  chan struct{}
	closed chan struct{}
	once   *sync.Once
}

func (b bounded) Accept() (net.Conn, error) {
	select {
	case b.slots <- struct{}{}:
	case <-b.closed:
		return nil, net.ErrClosed
	}
	c, err := b.Listener.Accept()
	if err != nil {
		<-b.slots
		return nil, err
	}
	return &slot{Conn: c, free: sync.OnceFunc(func() { <-b.slots })}, nil
}

func (b bounded) Close() error {
	b.once.Do(func() { close(b.closed) })
	return b.Listener.Close()
}

// slot is a connection that gives its slot back.
type slot struct {
	net.Conn
	free func()
}

func (c *slot) Close() error {
	defer c.free()
	return c.Conn.Close()
}
