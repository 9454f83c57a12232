package sensors

import (
	"fmt"
	"log/slog"
	"runtime/debug"
	"slices"
	"time"
)

// How panics of a source are borne. Ours, no source.
const (
	panicWindow  = 10 * time.Minute // so many panics within it end the process
	panicLimit   = 3
	firstBackoff = 10 * time.Second // rest after a panic, doubled by each further one in the window
)

// worker is one bus under the Poller. Everything from busy on is guarded by Poller.mu.
type worker struct {
	source  Source
	bus     string
	probes  []Probe
	trigger chan struct{} // room for one: only an idle worker is triggered

	busy      bool      // a read is in flight
	extra     bool      // that read is for a look, and no poll's
	queued    bool      // a poll began meanwhile, and reads after it
	again     bool      // it may be read between polls
	came      time.Time // when a read ended, whoever it was for
	asked     bool      // that read was begun by the newest poll
	started   time.Time // when the newest read began
	due       time.Time // when it was to be back
	ready     []Reading // came back, not yet returned by a Poll
	up        bool
	mute      bool      // it came back, and none of its probes answered
	heard     time.Time // when it last brought a value that may be used
	misses    int       // polls without an answer since the last one with
	took      time.Duration
	restarts  uint64
	panics    []time.Time
	notBefore time.Time // no read before it, after a panic
}

func (p *Poller) work(w *worker) {
	for {
		select {
		case <-p.ctx.Done():
			p.mu.Lock()
			w.busy = false // triggered, not begun
			p.mu.Unlock()
			return
		case <-w.trigger:
		}
		for more := true; more; {
			more = p.take(w, p.read(w))
		}
		select {
		case p.wake <- struct{}{}:
		default: // a wake is pending already
		}
	}
}

// owed reports whether a reading is in flight that a poll has asked for.
func (w *worker) owed() bool { return w.busy && (!w.extra || w.queued) }

// take puts aside what a bus brought, and reports whether a poll that began during an extra reading now reads for itself.
func (p *Poller) take(w *worker, readings []Reading) (more bool) {
	now, again := p.Now(), canAgain(w.source)
	p.tell(now, readings)
	p.mu.Lock()
	defer p.mu.Unlock()
	w.came, w.again = now, again
	switch {
	case w.extra && w.queued && !now.Before(w.notBefore) && p.ctx.Err() == nil:
		more = true
	case w.extra:
		w.busy = false
	default:
		w.busy, w.took, w.ready = false, now.Sub(w.started), readings
	}
	w.extra, w.queued = false, false
	return more
}

// read is the boundary at which a source's panic stops. A nil result means that nothing is known of the bus.
func (p *Poller) read(w *worker) (readings []Reading) {
	defer func() {
		cause := recover()
		if cause == nil {
			return
		}
		readings = nil
		p.log.Error("source panicked", "bus", w.bus, "panic", cause, "stack", string(debug.Stack()))
		p.panicked(w, cause)
	}()
	return w.source.Read(p.ctx)
}

func (p *Poller) panicked(w *worker, cause any) {
	now := p.Now()
	p.mu.Lock()
	defer p.mu.Unlock()
	w.restarts++
	recent := w.panics[:0]
	for _, t := range w.panics {
		if now.Sub(t) < panicWindow {
			recent = append(recent, t)
		}
	}
	w.panics = append(recent, now)
	w.notBefore = now.Add(firstBackoff << (len(w.panics) - 1))
	if len(w.panics) < panicLimit {
		return
	}
	select {
	case p.fatal <- fmt.Errorf("bus %s: panic %d within %v: %v", w.bus, len(w.panics), panicWindow, cause):
	default: // one is enough
	}
}

// faults appends one fault for each probe and quantity of the bus.
func (w *worker) faults(to []Reading, f Fault, at time.Time) []Reading {
	for _, probe := range w.probes {
		for _, q := range probe.Quantities {
			to = append(to, Reading{Probe: probe.ID, Quantity: q, Time: at, Fault: f})
		}
	}
	return to
}

// isMute reports whether none of several probes answered: a line held down or cut. One probe alone may be the probe, unless the bus itself is
// said to be down. Of probes that speak by themselves an answer tells only what is new; one that leaves some out, as not due, proves nothing
// unless it says that the bus is down.
func (w *worker) isMute() bool {
	channels, down := 0, false
	for _, p := range w.probes {
		channels += len(p.Quantities)
	}
	for _, r := range w.ready {
		if !slices.Contains(silences[:], r.Fault) {
			return false
		}
		down = down || r.Fault == BusDown
	}
	if len(w.ready) < channels && !down {
		return w.mute
	}
	return down || len(w.probes) > 1
}

// silences are the faults in which no probe has said anything.
var silences = [...]Fault{NoAnswer, TimedOut, BusDown, StuckLow}

// hear notes whether what a bus brought, in time or late, holds anything that may be used.
func (w *worker) hear(brought []Reading, now time.Time) {
	if slices.ContainsFunc(brought, Reading.OK) {
		w.heard = now
	}
}

func (w *worker) answered(log *slog.Logger) {
	if w.misses > 0 {
		log.Info("bus is back", "bus", w.bus, "missed_polls", w.misses)
	}
	w.up, w.misses = true, 0
}

func (w *worker) missed(log *slog.Logger, what string, waited time.Duration) {
	if w.misses == 0 {
		log.Warn(what, "bus", w.bus, "waited", waited)
	}
	w.up = false
	w.misses++
}
