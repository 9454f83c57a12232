package exporter

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"
)

// Fanout shows states to any number of publishers, each at its own pace. Its methods may be called from any goroutine.
type Fanout struct {
	opt     Options
	workers []*worker
	cancel  context.CancelFunc
}

// worker is one publisher with its goroutine.
type worker struct {
	sink   Publisher
	ledger *ledger
	newest atomic.Pointer[State] // the mailbox: what has not been shown yet
	wake   chan struct{}
	done   chan struct{}
}

// NewFanout starts a goroutine for each sink. Stop ends them.
func NewFanout(opt Options, sinks ...Publisher) *Fanout {
	opt = opt.withDefaults(maxSoonBackOff, 0)
	ctx, cancel := context.WithCancel(context.Background())
	f := &Fanout{opt: opt, cancel: cancel}
	for _, sink := range sinks {
		w := &worker{sink: sink, ledger: newLedger(sink.Name(), opt), wake: make(chan struct{}, 1), done: make(chan struct{})}
		f.workers = append(f.workers, w)
		go w.run(ctx, backOff{longest: opt.MaxBackOff})
	}
	return f
}

// Show hands the newest state to every sink and returns at once. A state a sink had no time for is overwritten.
func (f *Fanout) Show(s *State) {
	for _, w := range f.workers {
		w.newest.Store(s)
		signal(w.wake)
	}
}

// Health reports on every sink, in the order given to NewFanout.
func (f *Fanout) Health() []SinkHealth {
	all := make([]SinkHealth, len(f.workers))
	for i, w := range f.workers {
		all[i] = w.ledger.report()
	}
	return all
}

// Stop ends every sink and closes it, all at the same time. It returns when all are closed or when ctx ends, whichever is
// first; sinks left behind are named in the error.
func (f *Fanout) Stop(ctx context.Context) error {
	f.cancel()
	errs := make([]error, len(f.workers))
	var wg sync.WaitGroup
	for i, w := range f.workers {
		wg.Go(func() { errs[i] = w.stop(ctx) })
	}
	wg.Wait()
	return errors.Join(errs...)
}

func (w *worker) run(ctx context.Context, back backOff) {
	defer close(w.done)
	var pending *State
	for {
		if s := w.newest.Swap(nil); s != nil {
			pending = s
		}
		if pending == nil {
			select {
			case <-ctx.Done():
				return
			case <-w.wake:
				continue
			}
		}
		err := w.ledger.call(ctx, func(ctx context.Context) error { return w.sink.Publish(ctx, pending) })
		if ctx.Err() != nil {
			return
		}
		if err == nil {
			w.ledger.succeeded(1)
			back.reset()
			pending = nil
			continue
		}
		w.ledger.failed(err)
		if errors.As(err, new(taken)) {
			back.reset()
			pending = nil
			continue
		}
		wait, _ := back.after(err)
		if !sleep(ctx, wait, nil) {
			return
		}
	}
}

// stop waits for the worker, but keeps half of the time for the goodbye: Close may be what frees a hung Publish.
func (w *worker) stop(ctx context.Context) error {
	patience, cancel := halfOf(ctx)
	defer cancel()
	select {
	case <-w.done:
	case <-patience.Done():
	}
	closed := make(chan error, 1)
	go func() {
		// Not through the ledger: the call that hangs there is the one to report.
		defer func() {
			if p := recover(); p != nil {
				closed <- fmt.Errorf("panic: %v", p)
			}
		}()
		closed <- w.sink.Close(ctx)
	}()
	err := errStopTimeout
	select {
	case err = <-closed:
	case <-ctx.Done():
	}
	select {
	case <-w.done:
	case <-ctx.Done():
		err = errStopTimeout
	}
	if err != nil {
		return fmt.Errorf("sink %s: %w", w.sink.Name(), err)
	}
	return nil
}

// halfOf returns a context that ends when half of the time left in ctx is over.
func halfOf(ctx context.Context) (context.Context, context.CancelFunc) {
	end, ok := ctx.Deadline()
	if !ok {
		return context.WithCancel(ctx)
	}
	return context.WithTimeout(ctx, time.Until(end)/2)
}

// signal leaves one mark in a channel of size one.
func signal(c chan<- struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// sleep waits for d or until wake, and reports false when ctx ended.
func sleep(ctx context.Context, d time.Duration, wake <-chan struct{}) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-timer.C:
	case <-wake:
	}
	return ctx.Err() == nil
}
