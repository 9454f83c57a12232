package hardware

import (
	"fmt"
	"net"
	"os"
	"strconv"
	"time"
)

// The states a service manager is told of, as sd_notify(3) of systemd words them.
const (
	Ready    = "READY=1"
	Watchdog = "WATCHDOG=1"
	Stopping = "STOPPING=1"
)

// Longer asks the service manager to wait so much longer for the next state, from now on.
func Longer(by time.Duration) string { return fmt.Sprintf("EXTEND_TIMEOUT_USEC=%d", by.Microseconds()) }

// Notify tells the service manager a state through the socket that NOTIFY_SOCKET names. Without that variable it does nothing.
func Notify(state string) error {
	path := os.Getenv("NOTIFY_SOCKET")
	if path == "" {
		return nil
	}
	c, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		return fmt.Errorf("notifying the service manager: %w", err)
	}
	defer c.Close()
	if _, err := c.Write([]byte(state)); err != nil {
		return fmt.Errorf("notifying the service manager: %w", err)
	}
	return nil
}

// WatchdogInterval is how often the service manager wants to hear Watchdog, as WATCHDOG_USEC says (sd_watchdog_enabled(3));
// false when it does not ask.
func WatchdogInterval() (time.Duration, bool) {
	us, err := strconv.ParseInt(os.Getenv("WATCHDOG_USEC"), 10, 64)
	if err != nil || us <= 0 {
		return 0, false
	}
	return time.Duration(us) * time.Microsecond, true
}
