package web

import (
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// impatient makes the connections of a listener end when what was sent lies unconfirmed for so long (TCP_USER_TIMEOUT, tcp(7)). A system
// that cannot keeps its own patience.
func impatient(c syscall.RawConn, patience time.Duration) error {
	return c.Control(func(fd uintptr) {
		_ = unix.SetsockoptInt(int(fd), unix.IPPROTO_TCP, unix.TCP_USER_TIMEOUT, int(patience.Milliseconds()))
	})
}
