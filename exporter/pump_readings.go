package exporter

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// PollStore is what a pump of readings needs of the archive.
type PollStore interface {
	Polls(after int64, limit int) ([]StoredPoll, error) // in rising order of key
	Backlog(after int64, limit int) (upTo, readings int64, err error)
	Cursor(name string) (int64, error) // 0 when never set
	SetCursor(name string, key int64) error
	SetRefused(sink string, polls []RefusedPoll) error
	Pruned(name string) uint64 // polls that were removed before the sink had them
	PastStore
}

// NewReadingPump starts a pump from the store's cursor of the sink's name.
//
// The stored cursor stays behind what was acknowledged by at least Options.Settle, because a server may lose what it
// acknowledged last when it dies. Every start, and every failure that follows a success, goes back to it: the sink gets
// some polls twice and must not mind. A poll is repeated at most once in a run, so that a bad line cannot stop all progress.
func NewReadingPump(sink ReadingSink, store PollStore, opt Options) *Pump {
	opt = opt.withDefaults(maxReadingsBackOff, readingsBatch)
	l := newLedger(sink.Name(), opt)
	past := &past{sink: sink.Name(), store: store, now: opt.Now, log: l.log}
	p := newPump(sink.Name(), opt, l, &readings{sink: sink, store: store, opt: opt, ledger: l, past: past, batch: opt.Batch})
	p.past = past
	return p
}

// readings is the work of a pump of readings.
type readings struct {
	sink   ReadingSink
	store  PollStore
	opt    Options
	ledger *ledger
	past   *past

	started bool
	live    trail
	batch   int // polls to deliver at once; smaller after a delivery that failed
	perPoll int // readings in the polls delivered last
	owed    backlog
	oldest  time.Time // of the polls that wait, or the one before
}

// woken counts what came in; the wait goes on.
func (r *readings) woken() bool {
	if r.started {
		r.count()
	}
	return false
}

// step delivers what is new, and only where nothing is, a part of what is to be sent once more.
func (r *readings) step(ctx context.Context) (more bool, err error) {
	if err := r.start(); err != nil {
		return false, err
	}
	polls, err := r.store.Polls(r.live.acked, r.size())
	if err != nil {
		return false, fmt.Errorf("reading polls after %d: %w", r.live.acked, err)
	}
	if len(polls) == 0 {
		r.report(nil, nil)
		return r.stepBack(ctx)
	}
	defer func() { r.report(polls, err) }()
	if _, err := r.hand(ctx, polls, &r.live); err != nil {
		return false, err
	}
	now := time.Now()
	if r.live.acknowledge(polls[len(polls)-1].Key, now); !r.live.ripe(now, r.opt.Settle) {
		return true, nil
	}
	if err := r.store.SetCursor(r.sink.Name(), r.live.next); err != nil {
		return false, fmt.Errorf("storing the cursor: %w", err)
	}
	r.live.settle(now)
	return true, nil
}

func (r *readings) start() error {
	if r.started {
		return nil
	}
	key, err := r.store.Cursor(r.sink.Name())
	if err != nil {
		return fmt.Errorf("reading the cursor: %w", err)
	}
	if err := r.past.load(); err != nil {
		return err
	}
	r.live, r.started = newTrail(key), true
	r.owed.upTo = key
	return nil
}

// firstPolls are read while it is not known how much is in one; ours, no source.
const firstPolls = 50

// size is how many polls to deliver at once.
func (r *readings) size() int {
	if r.perPoll == 0 {
		return min(r.batch, firstPolls)
	}
	return min(r.batch, max(1, readingsAtOnce/r.perPoll))
}

// hand delivers polls, sets aside what is refused for good and returns that. What t has acknowledged before was set aside then.
func (r *readings) hand(ctx context.Context, polls []StoredPoll, t *trail) (fresh []RefusedPoll, err error) {
	r.perPoll = (readingsIn(polls) + len(polls) - 1) / len(polls)
	parts, err := r.deliver(ctx, polls)
	if err != nil {
		// Less at the next try: a slow link brings it through, and a long outage costs little memory.
		r.batch = max(1, min(r.batch, len(polls))/2)
		r.rewind()
		return nil, err
	}
	for _, p := range parts {
		if t.first(p.Key) {
			fresh = append(fresh, p)
		}
	}
	if len(fresh) > 0 {
		if err := r.store.SetRefused(r.sink.Name(), fresh); err != nil {
			return nil, fmt.Errorf("setting poll %d aside: %w", fresh[0].Key, err)
		}
	}
	r.ledger.succeeded(readingsIn(polls) - refusedIn(parts))
	if len(fresh) > 0 {
		r.ledger.refused(refusedIn(fresh), fresh[0].Reason)
	}
	r.batch = min(2*r.batch, r.opt.Batch)
	return fresh, nil
}

// deliver halves what is refused as a whole until the poll to blame stands alone.
func (r *readings) deliver(ctx context.Context, polls []StoredPoll) ([]RefusedPoll, error) {
	err := r.ledger.call(ctx, func(ctx context.Context) error { return r.sink.Deliver(ctx, polls) })
	var partly *PartlyRefused
	switch {
	case err == nil:
		return nil, nil
	case errors.As(err, &partly):
		return partly.Polls, nil
	case !IsPermanent(err):
		return nil, err
	case len(polls) == 1:
		return []RefusedPoll{{StoredPoll: polls[0], Reason: err.Error()}}, nil
	}
	half := len(polls) / 2
	first, err := r.deliver(ctx, polls[:half])
	if err != nil {
		return nil, err
	}
	second, err := r.deliver(ctx, polls[half:])
	return append(first, second...), err
}

// rewind goes back to what is surely kept, after a failure.
func (r *readings) rewind() {
	r.past.rewind()
	if r.live.rewind() {
		r.owed = backlog{upTo: r.live.acked}
	}
}

// report counts what waits, one page further at each look so that weeks of backlog hold nothing up: Pending is a lower bound
// until it has caught up.
func (r *readings) report(polls []StoredPoll, err error) {
	if err == nil {
		r.owed.delivered(polls)
	}
	switch {
	case err != nil:
		r.oldest = polls[0].Time
	case len(polls) > 0:
		r.oldest = polls[len(polls)-1].Time
	}
	r.count()
}

func (r *readings) count() {
	if upTo, n, err := r.store.Backlog(r.owed.upTo, backlogPage); err == nil {
		r.owed.upTo, r.owed.n = upTo, r.owed.n+n
	}
	r.ledger.pruned(r.store.Pruned(r.sink.Name()))
	r.ledger.resending(r.past.report())
	if r.owed.n == 0 {
		r.ledger.waiting(0, time.Time{})
		return
	}
	r.ledger.waiting(r.owed.n, r.oldest)
}

// backlogPage is two days of polls at 30 s; ours, no source.
const backlogPage = 5000

// backlog counts the readings after the newest acknowledged poll.
type backlog struct {
	upTo int64 // key of the newest poll counted
	n    int64
}

func (b *backlog) delivered(polls []StoredPoll) {
	for _, p := range polls {
		if p.Key <= b.upTo {
			b.n -= int64(len(p.Readings))
		} else {
			b.upTo = p.Key
		}
	}
}

func readingsIn(polls []StoredPoll) (n int) {
	for _, p := range polls {
		n += len(p.Readings)
	}
	return n
}

func refusedIn(polls []RefusedPoll) (n int) {
	for _, p := range polls {
		n += len(p.Readings)
	}
	return n
}
