package broker

import (
	"context"
	"crypto/tls"
	"fmt"
	"net"
	"net/url"
)

// Open makes the network connection to a broker whose address was found valid. Its reader ends with an error that says so when what
// answers there is no MQTT broker. What it returns as an error is for Refusal.
func Open(ctx context.Context, u *url.URL, files Files) (net.Conn, error) {
	var config *tls.Config
	if u.Scheme == secured {
		var err error
		if config, err = files.TLS(); err != nil {
			return nil, err
		}
		config.ServerName = u.Hostname()
	}
	conn, err := new(net.Dialer).DialContext(ctx, "tcp", u.Host)
	if err != nil {
		return nil, err
	}
	if config == nil {
		return &greeted{Conn: conn}, nil
	}
	inside := tls.Client(conn, config)
	if err := inside.HandshakeContext(ctx); err != nil {
		_ = conn.Close()
		return nil, handshakeError{err}
	}
	return &greeted{Conn: inside, secured: true}, nil
}

// handshakeError is one of TLS, before MQTT had its turn.
type handshakeError struct{ error }

func (e handshakeError) Unwrap() error { return e.error }

// greeted is a connection that looks at the first byte that comes back: every broker's first packet is CONNACK.
type greeted struct {
	net.Conn
	secured bool
	seen    bool
}

// The first bytes that are told apart. CONNACK: MQTT 3.1.1, 3.2.1; an alert: RFC 8446, 5.1.
const (
	connack  = 0x20
	tlsAlert = 0x15
)

// Read implements io.Reader. It is called by one goroutine.
func (g *greeted) Read(to []byte) (int, error) {
	n, err := g.Conn.Read(to)
	if g.seen {
		return n, err
	}
	switch {
	case n == 0 && err != nil:
		return 0, silentError{err, g.secured}
	case n == 0:
		return 0, nil
	case to[0] != connack:
		return 0, strangerError{to[0]}
	}
	g.seen = true
	return n, err
}

// silentError ends a connection on which not a byte came back.
type silentError struct {
	error
	secured bool
}

func (e silentError) Unwrap() error { return e.error }

// strangerError ends a connection to something that is no MQTT broker.
type strangerError struct{ first byte }

func (e strangerError) Error() string {
	if e.first >= ' ' && e.first <= '~' {
		return fmt.Sprintf("an answer that is not MQTT, beginning with %q", e.first)
	}
	return fmt.Sprintf("an answer that is not MQTT, beginning with 0x%02x", e.first)
}
