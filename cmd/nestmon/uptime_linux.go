package main

import (
	"crypto/rand"
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// uptime is how long the board has been up, its sleep included.
func uptime(time.Time) time.Duration {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &t); err != nil {
		return 0 // it cannot fail on a kernel that Go runs on
	}
	return time.Duration(t.Nano())
}

// bootID names the time since the board was switched on. Where the kernel may not be asked it is that of this process, whose polls can be told from
// others all the same.
func bootID() string {
	text, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return rand.Text()
	}
	return strings.TrimSpace(string(text))
}
