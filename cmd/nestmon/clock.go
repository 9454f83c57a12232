package main

import (
	"os"
	"time"
)

// builtAfter is before any build of this program: a clock that says less has never been set.
var builtAfter = time.Date(2026, time.November, 1, 0, 0, 0, 0, time.UTC)

// Where systemd's time service says that it has reached a server.
const (
	timeService = "/run/systemd/timesync"
	timeSynced  = "/run/systemd/timesync/synchronized"
)

// clockTrusted reports whether the board's clock can be believed: not before the program was built, not before the newest poll
// in the archive, and set over the network where the system says that it tries to.
func clockTrusted(now, newest time.Time) bool {
	if now.Before(builtAfter) || now.Before(newest) {
		return false
	}
	if _, err := os.Stat(timeService); err == nil {
		_, err = os.Stat(timeSynced)
		return err == nil
	}
	return true
}
