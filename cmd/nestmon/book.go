package main

import (
	"context"
	"errors"
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
	b, err := d.storedBook()
	if err == nil {
		d.book.Store(b)
	}
	return err
}

func (d *daemon) storedBook() (*book.Book, error) {
	entries, err := d.archive.Entries()
	if err != nil {
		return nil, fmt.Errorf("reading the litter book: %w", err)
	}
	return book.New(bookRules(d.cfg), entries), nil
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

// entries is the book for the archive, which writes it again where its file breaks.
func (d *daemon) entries() []book.Entry {
	if b := d.Book(); b != nil {
		return b.Entries()
	}
	return nil
}

// errBookUnread is for whoever asks what is in the book, or wants to write into it.
var errBookUnread = errors.New("the litter book cannot be read now; look at the card")

// pageBook is the book for the page.
type pageBook struct{ *daemon }

func (p pageBook) Book() *book.Book {
	if p.bookUnread {
		return nil
	}
	return p.daemon.Book()
}

// Enter writes entries into the litter book, durable before it returns.
func (d *daemon) Enter(ctx context.Context, entries []book.Entry) (stored []book.Entry, doubts []string, err error) {
	err = d.command(ctx, func() error {
		stored, doubts, err = d.enter(d.pace.Now(), entries)
		return err
	})
	return stored, doubts, err
}

// EnterOnce is Enter of what may be sent again: under a key that is known nothing is written, and the answer is the one there was.
func (d *daemon) EnterOnce(ctx context.Context, s exporter.Sending, of func(*book.Book) ([]book.Entry, error)) (stored []book.Entry, doubts []string, err error) {
	err = d.command(ctx, func() error {
		now := d.pace.Now()
		b, err := d.sureBook(now)
		if err != nil {
			return err
		}
		var was exporter.Sent
		known := false
		if err := d.card.write(func() (err error) {
			was, known, err = d.archive.SentBefore(s.Key)
			return err
		}); err != nil {
			return fmt.Errorf("nothing is saved: looking whether it came before: %w", err)
		}
		if known {
			stored, doubts, err = asBefore(b, was, s)
			return err
		}
		entries, err := of(b)
		if err != nil {
			return err
		}
		stored, doubts, err = d.enterAs(now, entries, s)
		return err
	})
	return stored, doubts, err
}

// asBefore is the answer there was to what came before.
func asBefore(b *book.Book, was exporter.Sent, now exporter.Sending) (stored []book.Entry, doubts []string, err error) {
	if was.Digest != now.Digest {
		return nil, nil, exporter.ErrOtherSend
	}
	for _, id := range was.Entries {
		e, ok := b.Entry(id)
		if !ok {
			return nil, nil, fmt.Errorf("entry %d was saved, and is in the book no more; look at what was written of the litter", id)
		}
		stored = append(stored, e)
	}
	return stored, was.Doubts, nil
}

// Done records that a chore was done.
func (d *daemon) Done(ctx context.Context, nest string, name alarm.Name, by string) error {
	_, _, err := d.Enter(ctx, []book.Entry{{What: book.Did, Nest: nest, Chore: name, By: by}})
	return err
}

// enter is Enter within the daemon's own goroutine. What gives no time happens now.
func (d *daemon) enter(now time.Time, entries []book.Entry) (stored []book.Entry, doubts []string, err error) {
	return d.enterAs(now, entries, exporter.Sending{})
}

func (d *daemon) enterAs(now time.Time, entries []book.Entry, s exporter.Sending) (stored []book.Entry, doubts []string, err error) {
	b, err := d.sureBook(now)
	if err != nil {
		return nil, nil, err
	}
	entries = slices.Clone(entries)
	for i, e := range entries {
		switch {
		case d.unset && e.At.IsZero():
			return nil, nil, &book.Refusal{Row: i, Entry: e, Why: errNoToday.Error()}
		case d.unset && e.At.After(now): // no refusal: a phone keeps it, and sends it again
			return nil, nil, errNotYet
		}
		if e, err = b.Place(e); err != nil {
			return nil, nil, &book.Refusal{Row: i, Entry: e, Why: err.Error()}
		}
		e = d.stamp(now, e)
		if e.What == book.Did {
			if err := d.judge.rabbitry.MayDo(e.Nest, e.Chore, e.At); err != nil {
				return nil, nil, &book.Refusal{Row: i, Entry: e, Why: err.Error()}
			}
		}
		entries[i] = e
	}
	more, stored, doubts, err := b.With(now, entries...)
	if err != nil {
		return nil, nil, err
	}
	sent := exporter.Sent{Sending: s, Doubts: doubts}
	for _, e := range stored {
		sent.Entries = append(sent.Entries, e.ID)
	}
	return stored, doubts, d.grow(now, more, stored, sent)
}

// sureBook is the book, read again where nobody knows what of it is stored: a write that took too long may have ended since.
func (d *daemon) sureBook(now time.Time) (*book.Book, error) {
	switch {
	case d.bookUnread:
		return nil, fmt.Errorf("%w; nothing is saved, and it can be sent again", errBookUnread)
	case !d.unsure:
		return d.Book(), nil
	}
	var b *book.Book
	err := d.card.write(func() (err error) {
		b, err = d.storedBook()
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("nothing is saved: %w; look at the card, and enter it again", err)
	}
	d.unsure = false
	before := d.Book()
	d.decideBy(now, b, slices.DeleteFunc(b.Entries(), func(e book.Entry) bool {
		_, known := before.Entry(e.ID)
		return known
	}))
	return b, nil
}

// grow stores what was added to the book, and lets the decisions know.
func (d *daemon) grow(now time.Time, more *book.Book, added []book.Entry, s exporter.Sent) error {
	err := d.card.write(func() error { return d.archive.PutSent(added, s) })
	switch d.unsure = err != nil; {
	case errors.Is(err, errCard):
		return fmt.Errorf("%w; look into the litter's past whether it was saved before you enter it again", err)
	case err != nil:
		return fmt.Errorf("nothing is saved: %w", err)
	}
	d.decideBy(now, more, added)
	return nil
}

// decideBy puts a book that has grown in place of the one before, and lets the decisions know what is new in it: all that may be is among added.
func (d *daemon) decideBy(now time.Time, more *book.Book, added []book.Entry) {
	before := d.Book()
	d.book.Store(more)
	d.judge.rabbitry.SetLitters(more.Litters(now), now)
	if slices.ContainsFunc(added, func(e book.Entry) bool { return len(e.Done()) > 0 || e.Replaces != 0 }) {
		for _, m := range more.Struck(added) {
			d.unmark(m)
		}
		marked := before.Marks()
		for _, m := range more.Marks() {
			if !slices.ContainsFunc(marked, func(o book.Mark) bool { return o.Nest == m.Nest && o.Chore == m.Chore && o.At.Equal(m.At) }) {
				d.markAgain(m)
			}
		}
	}
	d.showAgain(now)
}

// Import adds the rows of a file to the litter book, all or none; those without a number of their own were written by hand, by whom it says.
func (d *daemon) Import(ctx context.Context, rows []book.Entry, by string, dry bool) (m book.Merged, err error) {
	err = d.command(ctx, func() error {
		now := d.pace.Now()
		b, err := d.sureBook(now)
		if err != nil {
			return err
		}
		m, err = b.Merge(now, rows, func(e book.Entry) book.Entry {
			if e.By == "" {
				e.By = by
			}
			return d.stamp(now, e)
		})
		if err != nil || dry || len(m.Added) == 0 {
			return err
		}
		return d.grow(now, m.Book, m.Added, exporter.Sent{})
	})
	return m, err
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
