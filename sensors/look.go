package sensors

import (
	"context"
	"slices"
	"time"
)

// Look is somebody who follows what the probes say for a while, as a person does who warms one in the hand.
//
// Nothing of it reaches what Poll returns, so no decision, age or count of errors knows of it. Between two polls buses are read once more where
// that takes nothing from the next: the source has said that it can be read Again, its last reading was back so soon that another one fits in
// before the next poll, and it has not panicked. A poll that comes meanwhile waits for it as for a slow bus, and then reads for itself. All other
// buses are followed at the pace of the polls. What it does change is small: a chip that is read more often is warmed by its own current, some
// tenths of a kelvin at most (from memory).
type Look struct {
	Every time.Duration // of the polls
	Rest  time.Duration // of a bus between a reading and another one for the look
	// Take gets a copy of what a bus brought, for a poll or not, before the screen, and the faults of one that brought nothing. It is called by
	// several goroutines, also once more after the look has ended, and must not wait.
	Take func(now time.Time, readings []Reading)
}

// Ours, no source.
const (
	lookStep = 100 * time.Millisecond // between two looks at which buses are free
	lookRoom = 250 * time.Millisecond // left between an extra reading that takes half as long again as the last one and the next poll
)

// Look follows the probes until ctx ends. There is one look at a time; the newest counts.
func (p *Poller) Look(ctx context.Context, l Look) {
	p.mu.Lock()
	if ctx.Err() != nil { // over before it began: a newer one may follow them already
		p.mu.Unlock()
		return
	}
	p.look = &l
	p.mu.Unlock()
	defer func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		if p.look == &l {
			p.look = nil
		}
	}()
	step := time.NewTicker(lookStep)
	defer step.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-p.ctx.Done():
			return
		case <-step.C:
			p.readBetween(&l)
		}
	}
}

// readBetween begins an extra reading of every bus that is free for one.
func (p *Poller) readBetween(l *Look) {
	now := p.Now()
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.look != l || p.polled.IsZero() || p.ctx.Err() != nil {
		return
	}
	for _, w := range p.workers {
		fits := now.Add(w.took + w.took/2 + lookRoom).Before(p.polled.Add(l.Every))
		waited := p.polling && w.ready == nil
		if w.busy || waited || !w.again || len(w.panics) > 0 || now.Sub(w.came) < l.Rest || !fits {
			continue
		}
		w.busy, w.extra = true, true
		w.trigger <- struct{}{}
	}
}

// tell gives a copy of what a bus brought to whoever looks.
func (p *Poller) tell(now time.Time, readings []Reading) {
	p.mu.Lock()
	l := p.look
	p.mu.Unlock()
	if l != nil && len(readings) > 0 {
		l.Take(now, slices.Clone(readings))
	}
}

// canAgain reports whether a source can be read between polls without taking anything from the next one: a value that is told once, or a chip that
// needs its time, is lost to it.
func canAgain(s Source) bool {
	again, ok := s.(interface{ Again() bool })
	return ok && again.Again()
}
