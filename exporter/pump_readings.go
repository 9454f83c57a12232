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
	Cursor(name string) (int64, error)                  // 0 when never set
	SetCursor(name string, key int64) error
	DeadLetter(sink string, p StoredPoll, reason string) error
}

// NewReadingPump starts a pump from the store's cursor of the sink's name.
//
// The stored cursor stays behind what was acknowledged by at least Options.Settle, because a server may lose what it
// acknowledged last when it dies. Every start, and every failure that follows a success, goes back to it: the sink gets
// some polls twice and must not mind. A poll is repeated at most once in a run, so that a bad line cannot stop all progress.
func NewReadingPump(sink ReadingSink, store PollStore, opt Options) *Pump {
	opt = opt.withDefaults(maxReadingsBackOff, readingsBatch)
	l := newLedger(sink.Name(), opt)
	return newPump(sink.Name(), opt, l, &readings{sink: sink, store: store, opt: opt, ledger: l, batch: opt.Batch})
}

// readings is the work of a pump of readings. Keys are poll keys.
type readings struct {
	sink   ReadingSink
	store  PollStore
	opt    Options
	ledger *ledger

	started  bool
	batch    int   // polls to deliver at once; smaller after a delivery that ran out of time
	acked    int64 // the newest acknowledged
	settled  int64 // stored: acknowledged long enough ago to be believed
	next     int64 // will be settled when it is old enough
	nextAt   time.Time
	repeated int64 // up to here everything was acknowledged twice, or need not be
	high     int64 // the newest acknowledged before the last rewind
	owed     backlog
	oldest   time.Time // of the polls that wait, or the one before
}

// woken counts what came in; the wait goes on.
func (r *readings) woken() bool {
	if r.started {
		r.count()
	}
	return false
}

func (r *readings) step(ctx context.Context) (more bool, err error) {
	if err := r.start(); err != nil {
		return false, err
	}
	polls, err := r.store.Polls(r.acked, r.batch)
	if err != nil {
		return false, fmt.Errorf("reading polls after %d: %w", r.acked, err)
	}
	defer func() { r.report(polls, err) }()
	if len(polls) == 0 {
		return false, nil
	}
	refused, err := r.deliver(ctx, polls)
	if err != nil {
		if errors.Is(err, context.DeadlineExceeded) {
			r.batch = max(1, r.batch/2)
		}
		r.rewind()
		return false, err
	}
	for _, p := range refused {
		if err := r.store.DeadLetter(r.sink.Name(), p.StoredPoll, p.Reason); err != nil {
			return false, fmt.Errorf("setting poll %d aside: %w", p.Key, err)
		}
	}
	r.account(polls, refused)
	r.batch = min(2*r.batch, r.opt.Batch)
	return true, r.acknowledge(polls[len(polls)-1].Key)
}

func (r *readings) start() error {
	if r.started {
		return nil
	}
	key, err := r.store.Cursor(r.sink.Name())
	if err != nil {
		return fmt.Errorf("reading the cursor: %w", err)
	}
	r.acked, r.settled, r.started = key, key, true
	r.owed.upTo = key
	return nil
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

// acknowledge moves on to key and stores the cursor that is old enough.
func (r *readings) acknowledge(key int64) error {
	now := time.Now()
	r.repeated = max(r.repeated, min(key, r.high))
	r.acked = key
	if r.next <= r.settled {
		r.next, r.nextAt = key, now
	}
	if now.Sub(r.nextAt) < r.opt.Settle {
		return nil
	}
	if err := r.store.SetCursor(r.sink.Name(), r.next); err != nil {
		return fmt.Errorf("storing the cursor: %w", err)
	}
	r.settled = r.next
	r.next, r.nextAt = key, now
	return nil
}

// rewind goes back to what is surely kept, after a failure.
func (r *readings) rewind() {
	r.high = max(r.high, r.acked)
	r.acked = max(r.settled, r.repeated)
	r.next = r.settled
	r.owed = backlog{upTo: r.acked}
}

func (r *readings) account(polls []StoredPoll, refused []RefusedPoll) {
	lost := 0
	for _, p := range refused {
		lost += len(p.Readings)
	}
	r.ledger.succeeded(readingsIn(polls) - lost)
	if lost > 0 {
		r.ledger.refused(lost, refused[0].Reason)
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
	if page, err := r.store.Polls(r.owed.upTo, backlogPage); err == nil {
		r.owed.add(page)
	}
	if r.owed.n == 0 {
		r.ledger.waiting(0, time.Time{})
		return
	}
	r.ledger.waiting(r.owed.n, r.oldest)
}

// backlogPage is a morning of polls at 30 s; ours, no source.
const backlogPage = 1000

// backlog counts the readings after the newest acknowledged poll.
type backlog struct {
	upTo int64 // key of the newest poll counted
	n    int64
}

func (b *backlog) add(polls []StoredPoll) {
	if len(polls) > 0 {
		b.n += int64(readingsIn(polls))
		b.upTo = polls[len(polls)-1].Key
	}
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
