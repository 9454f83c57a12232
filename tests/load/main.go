// Command load runs the real daemon with thirty nests polled every ten seconds, first at rest, then under a load that no home has: a hundred pages of which some never
// read, a thousand malformed messages a second through a real mosquitto onto every topic that the daemon listens to, and a scrape every second. Meanwhile probes are taken
// off their wire and put back, and wireless nodes say what they measure between the nonsense. It prints what became of the polls, the alarms, the nodes' values and the
// log, and what the daemon holds, each at rest and under load in the same run. Nothing here is a test, and nothing fails for being slow.
//
//	go run ./tests/load [-for 4m] [-rest 2m] [-pages 100] [-flood 1000]
package main

import (
	"flag"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	"time"
)

func main() {
	l := &load{}
	flag.DurationVar(&l.loaded, "for", 4*time.Minute, "how `long` under load")
	flag.DurationVar(&l.rested, "rest", 2*time.Minute, "how `long` at rest before")
	flag.IntVar(&l.pages, "pages", 100, "`streams`; every fifth never reads")
	flag.IntVar(&l.flood, "flood", 1000, "malformed `messages` a second")
	flag.Parse()
	stop := make(chan os.Signal, 1)
	signal.Notify(stop, os.Interrupt, syscall.SIGTERM)
	l.stop = stop
	if err := l.run(); err != nil {
		fmt.Fprintln(os.Stderr, "load:", err)
		os.Exit(1)
	}
}

// The rabbitry: thirty nests with a probe in the cluster and one for the air; in the last ten the air's is a wireless node.
const (
	nests    = 30
	wireless = 10
	poll     = 10 * time.Second
	stale    = 25 * time.Second // of the clusters' probes: an alarm that comes soon, so that a short run has some
	mute     = 5                // every so manieth stream never reads
)
