//go:build !linux

package main

import (
	"crypto/rand"
	"time"
)

// uptime is how long the program has been up.
func uptime(began time.Time) time.Duration { return time.Since(began) }

func bootID() string { return rand.Text() }
