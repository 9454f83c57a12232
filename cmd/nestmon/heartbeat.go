package main

import (
	"context"
	"log/slog"
	"sync/atomic"
	"time"

	"nestmon/hardware"
)

// heartbeat returns what to call after each whole cycle. The first call tells the service manager that the daemon is ready; from then
// on its watchdog is fed for as long as cycles keep coming: a poll may take its whole interval, and one more is patience.
func heartbeat(ctx context.Context, poll time.Duration, log *slog.Logger) func() {
	var beats atomic.Int64
	tell := func(state string) {
		if err := hardware.Notify(state); err != nil {
			log.Warn("the service manager cannot be told", "err", err)
		}
	}
	every, watched := hardware.WatchdogInterval()
	feed := func() {
		seen, at := int64(0), time.Now()
		for tick := time.NewTicker(every / 2); ; {
			select {
			case <-ctx.Done():
				tick.Stop()
				return
			case <-tick.C:
			}
			if n := beats.Load(); n != seen {
				seen, at = n, time.Now()
			}
			if time.Since(at) <= 2*poll+every/2 {
				tell(hardware.Watchdog)
			}
		}
	}
	return func() {
		if beats.Add(1) != 1 {
			return
		}
		tell(hardware.Ready)
		if watched {
			go feed()
		}
	}
}
