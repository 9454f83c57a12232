package exporter

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync"
	"time"
)

// A third panic within panicWindow means that starting the part again does not help; the rule of the house.
const (
	panicWindow = 10 * time.Minute
	panicLimit  = 3
)

// ledger makes the calls of one sink and keeps what is known of it.
type ledger struct {
	opt Options
	log *slog.Logger

	mu       sync.Mutex
	health   SinkHealth
	began    time.Time // of the call in flight, zero when there is none; by the runtime's clock, as its deadline
	due      time.Time // when a pump must have moved again, by the runtime's clock
	failures int       // in a row
	spurned  bool      // what came last was refused for good, and nothing has arrived since
	panics   []time.Time
	said     string // the refusal logged last
	saidAt   time.Time
}

func newLedger(name string, opt Options) *ledger {
	return &ledger{
		opt: opt, log: opt.Log.With(slog.String("sink", name)),
		health: SinkHealth{Name: name, OK: true, Since: opt.Now()},
	}
}

// call runs fn with the deadline of one call. A panic comes back as an error.
func (l *ledger) call(ctx context.Context, fn func(context.Context) error) (err error) {
	ctx, cancel := context.WithTimeout(ctx, l.opt.Timeout)
	defer cancel()
	l.setBegan(time.Now())
	l.expect(l.opt.Timeout)
	defer l.expect(0)
	defer l.setBegan(time.Time{})
	defer func() {
		if p := recover(); p != nil {
			err = l.recovered(p)
		}
	}()
	return fn(ctx)
}

func (l *ledger) setBegan(t time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.began = t
}

// expect notes that a pump moves, and how long what it does now may take beside the slack.
func (l *ledger) expect(takes time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.due = time.Now().Add(takes)
}

// late is how long ago a pump should have moved, negative while it still has time.
func (l *ledger) late() time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	return time.Since(l.due)
}

// recovered turns what recover returned into an error, and reports the third within the window.
func (l *ledger) recovered(p any) error {
	err, now := fmt.Errorf("panic: %v", p), time.Now()
	l.log.Error("sink panicked", slog.Any("err", err), slog.String("stack", string(debug.Stack())))
	l.mu.Lock()
	l.panics = append(l.panics, now)
	if len(l.panics) > panicLimit {
		l.panics = l.panics[1:]
	}
	often := len(l.panics) == panicLimit && now.Sub(l.panics[0]) < panicWindow
	name := l.health.Name
	l.mu.Unlock()
	if often {
		l.opt.Fatal(fmt.Errorf("sink %s: %d panics within %v, the last: %w", name, panicLimit, panicWindow, err))
	}
	return err
}

// succeeded notes that n things arrived; with none it still means that the sink is well, unless it spurned what came last.
func (l *ledger) succeeded(n int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.spurned = l.spurned && n == 0; l.spurned {
		return
	}
	now := l.opt.Now()
	if !l.health.OK {
		l.log.Info("sink recovered", slog.Int("failures", l.failures), slog.Duration("outage", now.Sub(l.health.Since).Round(time.Second)))
		l.health.OK, l.health.Since, l.health.Error, l.health.Misconfigured = true, now, "", false
	}
	l.failures = 0
	l.count(n, now)
}

// sent notes that n things arrived at a sink that is not well all the same.
func (l *ledger) sent(n int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.count(n, l.opt.Now())
}

func (l *ledger) count(n int, now time.Time) {
	l.health.Sent += uint64(n)
	if n > 0 {
		l.health.LastOK = now
	}
}

// failed notes one failed try. Only the first in a row is logged, and the first that only a person can mend.
func (l *ledger) failed(err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	wrong := IsMisconfigured(err)
	switch {
	case wrong && !l.health.Misconfigured:
		l.log.Error("sink is set up wrongly, trying again", slog.Any("err", err))
	case l.health.OK:
		l.log.Warn("sink failed, trying again", slog.Any("err", err))
	}
	if l.health.OK {
		l.health.OK, l.health.Since = false, l.opt.Now()
	}
	l.failures++
	l.health.Failed++
	l.health.Error, l.health.Misconfigured = err.Error(), wrong
}

// quietFor is how long the same refusal is not logged again: weeks of readings may be refused for one reason. Ours, no source.
const quietFor = time.Hour

// refused notes things set aside for good.
func (l *ledger) refused(n int, reason string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.opt.Now()
	l.health.Failed += uint64(n)
	l.health.Refused += uint64(n)
	l.health.RefusedAt, l.health.RefusedWhy = now, reason
	if reason == l.said && now.Sub(l.saidAt) < quietFor {
		return
	}
	l.said, l.saidAt = reason, now
	l.log.Warn("sink refused for good, set aside", slog.Int("count", n), slog.String("reason", reason))
}

// pruned notes how many polls grew too old before they were delivered.
func (l *ledger) pruned(n uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if n > l.health.Pruned {
		l.health.Pruned, l.health.PrunedAt = n, l.opt.Now()
	}
}

// resending notes what is sent once more.
func (l *ledger) resending(b *Backfill) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.health.Backfill = b
}

// spurn notes a message that was refused for good. The sink is not well until one arrives: a service that wants another body refuses
// every alarm, and there may be none for weeks.
func (l *ledger) spurn(reason string) {
	l.refused(1, reason)
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.health.OK {
		l.health.OK, l.health.Since = false, l.opt.Now()
	}
	l.spurned, l.health.Error = true, reason
}

func (l *ledger) waiting(n int64, oldest time.Time) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.health.Owes, l.health.Pending, l.health.OldestAt = true, n, oldest
}

// report returns the health as of now. A call that outlived its deadline makes the sink not OK: it ignores its context.
func (l *ledger) report() SinkHealth {
	l.mu.Lock()
	defer l.mu.Unlock()
	h := l.health
	if late := time.Since(l.began) - l.opt.Timeout; !l.began.IsZero() && late > time.Second {
		if h.OK {
			h.Since = l.opt.Now().Add(-late)
		}
		h.OK = false
		h.Error = fmt.Sprintf("hung: no return for %v", (late + l.opt.Timeout).Round(time.Second))
	}
	return h
}

// errStopTimeout says that a sink was left behind.
var errStopTimeout = errors.New("did not stop in time and was left behind")
