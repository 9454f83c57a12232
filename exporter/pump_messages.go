package exporter

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"
)

// MessageStore is what a pump of messages needs of the archive.
type MessageStore interface {
	Pending(channel string, now time.Time, limit int) ([]Message, error) // in the order in which they were stored
	Sent(channel, id string, at time.Time) error
	Refused(channel, id, reason string) error
}

// patience is the number of tries for which a message holds up those behind it, about half a minute. Short troubles keep the order; in a long one
// a new alarm goes first, and one message the other side chokes on stops no other. Ours, no source.
const patience = 5

// NewMessagePump starts a pump for one channel. Each message is tried by itself, with a deadline of its own.
//
// A message is sent a second time only when the process ends between the other side's yes and the note of it: what the store
// could not note is remembered, and noted later.
func NewMessagePump(sink MessageSink, store MessageStore, opt Options) *Pump {
	opt = opt.withDefaults(maxSoonBackOff, messagesBatch)
	l := newLedger(sink.Name(), opt)
	l.health.Calls = true
	return newPump(sink.Name(), opt, l, &messages{
		sink: sink, store: store, opt: opt, ledger: l, tries: map[string]int{}, unnoted: map[string]verdict{},
	})
}

// messages is the work of a pump of messages.
type messages struct {
	sink    MessageSink
	store   MessageStore
	opt     Options
	ledger  *ledger
	tries   map[string]int     // failures of what still waits, by id
	unnoted map[string]verdict // done, but the store could not write it down
}

// verdict is how a message ended.
type verdict struct {
	at     time.Time
	reason string // why it was refused, empty when it was sent
}

func (m *messages) woken() bool { return true }

func (m *messages) step(ctx context.Context) (more bool, err error) {
	pending, err := m.store.Pending(m.sink.Name(), m.opt.Now(), m.opt.Batch)
	if err != nil {
		return false, fmt.Errorf("reading what waits: %w", err)
	}
	left := len(pending)
	m.waiting(pending, left)
	if left == 0 {
		return false, m.complaint()
	}
	slices.SortStableFunc(pending, func(a, b Message) int {
		return cmp.Compare(m.tries[a.ID]/patience, m.tries[b.ID]/patience)
	})
	var unnoted error
	for _, message := range pending {
		if err := m.send(ctx, message); err != nil {
			return false, errors.Join(err, unnoted)
		}
		left--
		m.waiting(pending, left)
		if err := m.note(message.ID); err != nil { // it has arrived; those behind it must not wait for the store
			unnoted = fmt.Errorf("noting message %s: %w", message.ID, err)
		}
	}
	return true, unnoted
}

// complaint is what is wrong with the sink although nothing waits. While there is one the sink is not well, whatever it delivers: an alarm
// about it would otherwise end with every message, its own among them.
func (m *messages) complaint() error {
	if c, can := m.sink.(interface{ Complaint() error }); can {
		return c.Complaint()
	}
	return nil
}

// send sends one message, unless that was done before.
func (m *messages) send(ctx context.Context, message Message) error {
	m.ledger.expect(0)
	if _, done := m.unnoted[message.ID]; done {
		return nil
	}
	err := m.ledger.call(ctx, func(ctx context.Context) error { return m.sink.Send(ctx, message) })
	if err != nil && !IsPermanent(err) {
		m.tries[message.ID]++
		return err
	}
	end := verdict{at: m.opt.Now()}
	if err != nil {
		end.reason = cmp.Or(err.Error(), "refused")
		m.ledger.spurn(end.reason)
	} else if m.complaint() != nil {
		m.ledger.sent(1)
	} else {
		m.ledger.succeeded(1)
	}
	delete(m.tries, message.ID)
	m.unnoted[message.ID] = end
	return nil
}

// note writes down how a message ended.
func (m *messages) note(id string) (err error) {
	if end := m.unnoted[id]; end.reason != "" {
		err = m.store.Refused(m.sink.Name(), id, end.reason)
	} else {
		err = m.store.Sent(m.sink.Name(), id, end.at)
	}
	if err == nil {
		delete(m.unnoted, id)
	}
	return err
}

// waiting reports what is left of pending, which the store gave in the order of age.
func (m *messages) waiting(pending []Message, left int) {
	var oldest time.Time
	if left > 0 {
		oldest = pending[0].Time
	}
	m.ledger.waiting(int64(left), oldest)
}
