package main

import (
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

// bootID names the time since the board was switched on; empty where the kernel does not say.
func bootID() string {
	text, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(text))
}
