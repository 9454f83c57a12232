package exporter

import (
	"context"
	"fmt"
	"time"
)

// Pump drives one sink that is owed delivery: it reads from the store what waits, delivers it, and goes on only when the
// other side has it. Its methods may be called from any goroutine.
type Pump struct {
	name   string
	opt    Options
	work   work
	ledger *ledger
	past   *past // nil where nothing can be sent again
	wake   chan struct{}
	cancel context.CancelFunc
	done   chan struct{}
}

// work is what a pump does at each look.
type work interface {
	// step delivers the next of what waits. It reports whether there may be more, or why nothing more can be done now.
	step(ctx context.Context) (more bool, err error)
	// woken is told of a Wake in the wait after a failure, and says whether it ends the wait: something new may go although
	// the old could not.
	woken() bool
}

func newPump(name string, opt Options, l *ledger, w work) *Pump {
	ctx, cancel := context.WithCancel(context.Background())
	p := &Pump{name: name, opt: opt, work: w, ledger: l, wake: make(chan struct{}, 1), cancel: cancel, done: make(chan struct{})}
	l.expect(0)
	go p.run(ctx, backOff{longest: opt.MaxBackOff})
	return p
}

// Wake makes the pump look again at once. It never blocks. In the wait after a failure it only shortens that of messages, and
// not even that where the other side named the time.
func (p *Pump) Wake() { signal(p.wake) }

// Name returns the sink's name.
func (p *Pump) Name() string { return p.name }

// Try makes a call of the sink beside the pump's own, with the deadline of one. What arrives counts as if the pump had sent it; a failure is for
// whoever asked.
func (p *Pump) Try(ctx context.Context, fn func(context.Context) error) (err error) {
	ctx, cancel := context.WithTimeout(ctx, p.opt.Timeout)
	defer cancel()
	defer func() {
		if v := recover(); v != nil {
			err = p.ledger.recovered(v)
		}
	}()
	if err = fn(ctx); err == nil {
		p.ledger.succeeded(1)
	}
	return err
}

// Health reports on the sink. Sent, Failed and Pending count readings, or messages.
func (p *Pump) Health() SinkHealth { return p.ledger.report() }

// Stuck says that the pump hangs, in the sink or in the store. One that waits, for its next look or after a failure, is not stuck, nor is one
// in a call that has time left: an attempt counts, whatever comes of it. A jump of the wall clock changes nothing.
func (p *Pump) Stuck() error {
	if late := p.ledger.late(); late > p.opt.Slack {
		return fmt.Errorf("sink %s hangs: it should have moved %v ago", p.name, late.Round(time.Second))
	}
	return nil
}

// Stop ends the pump. What waits stays in the store. It returns when the call in flight has ended or when ctx ends.
func (p *Pump) Stop(ctx context.Context) error {
	p.cancel()
	select {
	case <-p.done:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("sink %s: %w", p.name, errStopTimeout)
	}
}

func (p *Pump) run(ctx context.Context, back backOff) {
	defer close(p.done)
	for ctx.Err() == nil {
		p.ledger.expect(0)
		more, err := p.look(ctx)
		switch {
		case ctx.Err() != nil:
			return
		case err != nil:
			p.ledger.failed(err)
			wait, asked := back.after(err)
			p.ledger.expect(wait)
			p.pause(ctx, wait, asked)
		case more:
			back.reset()
		default:
			back.reset()
			p.ledger.succeeded(0)
			p.ledger.expect(p.opt.Idle)
			sleep(ctx, p.opt.Idle, p.wake)
		}
	}
}

// look makes one step; a panic of the store, too, ends there.
func (p *Pump) look(ctx context.Context) (more bool, err error) {
	defer func() {
		if v := recover(); v != nil {
			err = p.ledger.recovered(v)
		}
	}()
	return p.work.step(ctx)
}

// pause waits after a failure. A wait the other side asked for is never shortened.
func (p *Pump) pause(ctx context.Context, wait time.Duration, asked bool) {
	timer := time.NewTimer(wait)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
			return
		case <-p.wake:
			if p.work.woken() && !asked {
				return
			}
		}
	}
}
