// Package demobroker is a small MQTT broker inside the process, for the demonstration and nothing else.
//
// It listens on the loopback address only, lets everybody in, keeps nothing across a restart, and accepts packets up to
// 64 KiB: without a limit four unauthenticated connections that announced 256 MB each held 2.6 GB of address space
// (measured with mochi-mqtt 2.7.9).
//
// A board runs a real broker such as mosquitto instead. One inside the daemon would take every subscriber down with it,
// would lose messages queued for a client that is away (measured: six of six kills), and would put an open port with a
// reported denial of service (GO-2024-3307, no fixed version named) into the process that must not die. Its look for what is
// retained under a wildcard races with publishing (seen with the race detector), too.
package demobroker

import (
	"fmt"
	"log/slog"
	"net"

	broker "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/hooks/auth"
	"github.com/mochi-mqtt/server/v2/listeners"
)

// maxPacket is the largest packet accepted, in bytes.
const maxPacket = 64 * 1024

// Broker is a running broker.
type Broker struct {
	server *broker.Server
	addr   string
}

// Start opens a broker on 127.0.0.1 at the port given, 0 for any that is free.
func Start(port int, log *slog.Logger) (*Broker, error) {
	ln, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", port))
	if err != nil {
		return nil, fmt.Errorf("demo broker: %w; choose another port, or 0 for any that is free", err)
	}
	caps := broker.NewDefaultServerCapabilities()
	caps.MaximumPacketSize = maxPacket
	s := broker.New(&broker.Options{Capabilities: caps, Logger: log})
	if err := s.AddHook(new(auth.AllowHook), nil); err != nil {
		_ = ln.Close()
		return nil, fmt.Errorf("demo broker: %w", err)
	}
	if err := s.AddListener(listeners.NewNet("loopback", ln)); err != nil {
		_ = ln.Close()
		return nil, fmt.Errorf("demo broker: %w", err)
	}
	if err := s.Serve(); err != nil {
		_ = s.Close()
		return nil, fmt.Errorf("demo broker: %w", err)
	}
	return &Broker{server: s, addr: ln.Addr().String()}, nil
}

// Addr is host:port.
func (b *Broker) Addr() string { return b.addr }

// URL is the address a client connects to.
func (b *Broker) URL() string { return "tcp://" + b.addr }

// Close ends the broker and its connections.
func (b *Broker) Close() error { return b.server.Close() }
