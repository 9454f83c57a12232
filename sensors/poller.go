package sensors

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"
)

// closeLimit bounds Poller.Close: a read the kernel never gives back must not hold up the daemon's end. Ours, no source.
const closeLimit = time.Second

// Poller asks every bus at once and waits for none longer than it was told to.
//
// Each Source has one worker goroutine; it reads serially and a second read never starts while one is in flight, because a
// stuck system call cannot be cancelled and a second one would only be stuck as well.
type Poller struct {
	Now func() time.Time // time.Now unless set before the first Poll

	log     *slog.Logger
	workers []*worker
	ctx     context.Context // ends with Close; reads outlive the deadline of the Poll that began them
	cancel  context.CancelFunc
	wake    chan struct{} // a worker came back
	fatal   chan error
	done    sync.WaitGroup

	mu      sync.Mutex // guards the state of all workers, and what follows
	look    *Look      // nil while nobody looks
	polled  time.Time  // when the newest Poll began
	polling bool       // it has not returned yet
}

// NewPoller starts one worker for each source.
func NewPoller(sources []Source, log *slog.Logger) *Poller {
	ctx, cancel := context.WithCancel(context.Background())
	p := &Poller{
		Now: time.Now, log: log, ctx: ctx, cancel: cancel,
		wake: make(chan struct{}, 1), fatal: make(chan error, 1),
	}
	for _, s := range sources {
		w := &worker{source: s, bus: s.Bus(), probes: s.Probes(), trigger: make(chan struct{}, 1)}
		p.workers = append(p.workers, w)
		p.done.Go(func() { p.work(w) })
	}
	return p
}

// Poll reads every bus once and returns one entry for each probe and quantity, bus by bus.
//
// A bus that does not come back within the deadline is entered as TimedOut, and as BusDown at every later poll until its
// read returns; it is not waited for again. What it read is then returned by the next Poll, before the bus's newer
// readings and with the times at which it was measured. Poll is called by one goroutine.
func (p *Poller) Poll(ctx context.Context, deadline time.Duration) []Reading {
	start := p.Now()
	late := p.start(start, start.Add(deadline))
	timer := time.NewTimer(deadline)
	defer timer.Stop()
	for !p.settled() {
		select {
		case <-p.wake:
			continue
		case <-timer.C:
		case <-ctx.Done():
		}
		break
	}
	return p.collect(late, start)
}

// start triggers every idle worker and returns what came back since the last poll, by worker.
func (p *Poller) start(now, due time.Time) (late [][]Reading) {
	p.mu.Lock()
	defer p.mu.Unlock()
	late = make([][]Reading, len(p.workers))
	p.polled, p.polling = now, true
	for i, w := range p.workers {
		w.asked = false
		late[i], w.ready = w.ready, nil
		if w.busy && w.extra && !w.queued { // read for a look: the poll's own reading follows
			w.asked, w.queued, w.started, w.due = true, true, now, due
			continue
		}
		if w.busy || now.Before(w.notBefore) || p.ctx.Err() != nil {
			continue
		}
		w.asked, w.busy, w.started, w.due = true, true, now, due
		w.trigger <- struct{}{}
	}
	return late
}

// settled reports whether every bus asked in this poll has come back.
func (p *Poller) settled() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, w := range p.workers {
		if w.asked && w.owed() {
			return false
		}
	}
	return true
}

func (p *Poller) collect(late [][]Reading, now time.Time) []Reading {
	p.mu.Lock()
	var all, silent []Reading
	for i, w := range p.workers {
		all = append(all, late[i]...)
		before := len(all)
		w.hear(late[i], now)
		w.hear(w.ready, now)
		switch {
		case w.ready != nil:
			all = append(all, w.ready...)
			w.mute, w.ready = w.isMute(), nil
			w.answered(p.log)
		case w.asked && w.busy:
			all = w.faults(all, TimedOut, now)
			w.missed(p.log, "bus did not come back in time", w.due.Sub(w.started))
		default: // in flight since an earlier poll, waiting after a panic, or closed
			all = w.faults(all, BusDown, now)
			w.missed(p.log, "bus is down", now.Sub(w.started))
		}
		if !w.up {
			silent = append(silent, all[before:]...)
		}
	}
	p.polling = false
	p.mu.Unlock()
	p.tell(now, silent)
	return all
}

// Buses says how each bus does, in the order of the sources. It may be called at any time by any goroutine.
func (p *Poller) Buses() []BusHealth {
	now := p.Now()
	p.mu.Lock()
	defer p.mu.Unlock()
	health := make([]BusHealth, 0, len(p.workers))
	for _, w := range p.workers {
		h := BusHealth{Bus: w.bus, Probes: w.probes, Up: w.up && !w.mute, Heard: w.heard, Took: w.took, Restarts: w.restarts}
		if w.owed() {
			h.Hung = max(0, now.Sub(w.due))
		}
		if far, ok := w.source.(interface{ Linked() bool }); ok {
			h.Linked = far.Linked()
		}
		if counting, ok := w.source.(interface{ Traffic() *Traffic }); ok {
			h.Traffic = counting.Traffic()
		}
		health = append(health, h)
	}
	return health
}

// Fatal delivers an error when a bus panicked so often that only a fresh process may help. The daemon then ends.
func (p *Poller) Fatal() <-chan error { return p.fatal }

// Close stops the workers and closes the sources, in bounded time: a bus whose read hangs is left behind and named.
func (p *Poller) Close() error {
	p.cancel()
	type result struct {
		bus string
		err error
	}
	closed := make(chan result, len(p.workers))
	for _, w := range p.workers {
		go func() { closed <- result{w.bus, w.source.Close()} }()
	}
	stopped := make(chan struct{})
	go func() { p.done.Wait(); close(stopped) }()

	timer := time.NewTimer(closeLimit)
	defer timer.Stop()
	var errs []error
	for range p.workers {
		select {
		case r := <-closed:
			if r.err != nil {
				errs = append(errs, fmt.Errorf("close bus %s: %w", r.bus, r.err))
			}
		case <-timer.C:
			return errors.Join(append(errs, p.hanging()...)...)
		}
	}
	select {
	case <-stopped:
	case <-timer.C:
		errs = append(errs, p.hanging()...)
	}
	return errors.Join(errs...)
}

func (p *Poller) hanging() (errs []error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, w := range p.workers {
		if w.busy {
			errs = append(errs, fmt.Errorf("bus %s: its read hangs and was left behind", w.bus))
		}
	}
	if errs == nil {
		errs = append(errs, errors.New("a bus did not close in time"))
	}
	return errs
}
