// Command soak lets the daemon live for a month in minutes, with everything it talks to and with faults at random, and prints at the end of each day what
// it holds: resident memory, heap after a collection, goroutines, descriptors, what the card has written, the archive. At the end it prints the trend of each,
// and whether it keeps to what it may. Nothing here is a test; the figures are printed also where they miss.
//
//	go run ./tests/soak [-days 30] [-seed N] [-profiles folder] [-mount loop,lazytime]
//	go run ./tests/soak -real 1h
//
// The month is told: the daemon is the program's own wiring, run by a test of its package whose clock is given from here poll by poll
// (cmd/nestmon/told_test.go). Its board is made of files, its broker is mosquitto, its database influxd, where they are installed. What waits by the machine's own clock, such as a sink that tries again,
// happens in a month that takes minutes as often as in minutes, no more.
//
// The real hour has none of that: the program that is shipped, on the wall's clock.
//
// The card is an ext4 of its own in memory, made and mounted where root runs this; the kernel counts what is written to it, the file system's journal
// included, and everything is made to reach it after each poll, as the kernel does by itself within the thirty seconds between two polls. Otherwise a folder stands in for it, it is
// never full, and nobody counts.
package main

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/signal"
	"syscall"
	"time"
)

func main() {
	days := flag.Int("days", 30, "`days` that are told")
	seed := flag.Uint64("seed", rand.Uint64N(1_000_000), "`seed` of the faults")
	long := flag.Duration("real", 0, "how `long` on the wall's clock instead, such as 1h")
	profiles := flag.String("profiles", "", "a `folder` for a profile of the told daemon's heap at the end of each day")
	options := flag.String("mount", "loop", "`options` of the card's mount, such as loop,lazytime")
	flag.Parse()
	if err := apart(); err != nil {
		fmt.Fprintln(os.Stderr, "soak:", err)
		os.Exit(1)
	}
	stop := make(chan os.Signal, 1)
	signal.Notify(stop, os.Interrupt, syscall.SIGTERM)
	s := &soak{days: *days, seed: *seed, real: *long, stop: stop, options: *options, profiles: *profiles}
	if err := s.run(); err != nil {
		fmt.Fprintln(os.Stderr, "soak:", err)
		os.Exit(1)
	}
}

// poll is the default configuration's.
const poll = 30 * time.Second

const day = 24 * time.Hour
