package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
)

var _ exporter.Bookkeeper = (*daemon)(nil)

// openBook reads the litter book.
func (d *daemon) openBook() error {
	entries, err := d.archive.Entries()
	if err != nil {
		return fmt.Errorf("reading the litter book: %w", err)
	}
	d.book.Store(book.New(bookRules(d.cfg), entries))
	return nil
}

func bookRules(cfg *config) book.Rules {
	r := book.Rules{Location: cfg.location(), Nests: map[string]brood.Kind{}, Days: cfg.Chores}
	for _, n := range cfg.Nests {
		r.Nests[n.ID] = n.Kind
	}
	return r
}

// Book is the litter book as it stands.
func (d *daemon) Book() *book.Book { return d.book.Load() }

// Enter writes entries into the litter book, durable before it returns.
func (d *daemon) Enter(ctx context.Context, entries []book.Entry) (stored []book.Entry, doubts []string, err error) {
	err = d.command(ctx, func() error {
		stored, doubts, err = d.enter(d.pace.Now(), entries)
		return err
	})
	return stored, doubts, err
}

// Done records that a chore was done.
func (d *daemon) Done(ctx context.Context, nest string, name alarm.Name) error {
	_, _, err := d.Enter(ctx, []book.Entry{{What: book.Did, Nest: nest, Chore: name}})
	return err
}

// enter is Enter within the daemon's own goroutine. What gives no time happens now.
func (d *daemon) enter(now time.Time, entries []book.Entry) (stored []book.Entry, doubts []string, err error) {
	b, entries := d.Book(), slices.Clone(entries)
	for i, e := range entries {
		if e, err = b.Place(e); err != nil {
			return nil, nil, &book.Refusal{Row: i, Entry: e, Why: err.Error()}
		}
		e = d.stamp(now, e)
		if chore := e.Done(); chore != "" {
			if err := d.judge.rabbitry.MayDo(e.Nest, chore, e.At); err != nil {
				return nil, nil, &book.Refusal{Row: i, Entry: e, Why: err.Error()}
			}
		}
		entries[i] = e
	}
	more, stored, doubts, err := b.With(now, entries...)
	if err != nil {
		return nil, nil, err
	}
	if err := d.card.write(func() error { return d.archive.PutEntries(stored) }); err != nil {
		return nil, nil, err
	}
	d.book.Store(more)
	d.judge.rabbitry.SetLitters(more.Litters(now), now)
	for _, m := range more.Struck() {
		if m.Entered.Equal(now) {
			d.unmark(m)
		}
	}
	for _, e := range stored {
		if chore := e.Done(); chore != "" {
			d.markAgain(book.Mark{Nest: e.Nest, Chore: chore, At: e.At})
		}
	}
	d.showAgain(now)
	return stored, doubts, nil
}

// unmark takes back a chore marked done. What was done before counts again, also what the decisions have forgotten.
func (d *daemon) unmark(m book.Mark) {
	if err := d.judge.rabbitry.Undone(m.Nest, m.Chore, m.At); err != nil {
		d.log.Info("a chore no longer marked done does not apply", "err", err)
	}
	for _, before := range d.Book().Marks() {
		if before.Nest == m.Nest && before.Chore == m.Chore {
			d.markAgain(before)
		}
	}
}

// seasonKnown is how long ago a kindling may be for the season of today to be its season; ours, no source: a season is smoothed over five days.
const seasonKnown = 5 * 24 * time.Hour

// stamp adds to an entry what the daemon knows.
func (d *daemon) stamp(now time.Time, e book.Entry) book.Entry {
	if e.At.IsZero() {
		e.At = now
	}
	nest := e.Nest
	switch e.What {
	case book.Moved:
		nest = e.To
	case book.BoxIn:
	case book.Kindled:
		if ago := now.Sub(e.At); e.Season == "" && ago > -seasonKnown && ago < seasonKnown {
			e.Season = d.judge.rabbitry.Season()
		}
	default:
		return e
	}
	if e.Kind == "" {
		e.Kind = d.Book().Rules().Nests[nest]
	}
	return e
}
