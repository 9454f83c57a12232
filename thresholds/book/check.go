package book

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"time"

	"nestmon/thresholds/litter"
)

// check looks at what entries that were added make of a book.
type check struct {
	book   *Book
	added  []Entry
	stored map[int64]bool // numbers of those added that stood in a book before
	blamed Entry          // what the newest refusal is about
	doubts []string
}

// Kindlings seen at all, days after breeding (common practice, no source): outside it one of the two dates is likely wrong.
const (
	SeenFrom, SeenTo = 25, 36
	fosterApart      = 3    // days between two litters of which kits are fostered (common practice, no source)
	neverWeaned      = 14   // days; kits live on milk alone before (common practice, no source): another word was meant, such as weighed
	oldestLitter     = 120  // days; at a later date something else is meant; ours, no source
	lightest         = 25.0 // g of one kit: half of what kits are born with, 42 to 53 g (Vet. ir Zootech. 82(1), 2024, quoted in the project's notes)
	heaviest         = 4000 // g of one kit; ours, no source
)

// doubt says what is unusual about an entry, once: when it is added.
func (c *check) doubt(e Entry, format string, args ...any) {
	if c.row(e) >= 0 {
		c.doubts = append(c.doubts, fmt.Sprintf(format, args...))
	}
}

// row is an entry's place among those added, -1 where it was there before.
func (c *check) row(e Entry) int {
	return slices.IndexFunc(c.added, func(a Entry) bool { return a.ID == e.ID })
}

// run says what cannot be true.
func (c *check) run() error {
	touched := map[int64]bool{}
	for i, e := range c.added {
		if e.Litter != 0 {
			touched[e.Litter] = true
		}
		if e.With != 0 {
			touched[e.With] = true
			if c.book.Record(e.With) == nil && c.book.gone[e.ID] == 0 {
				return &Refusal{i, e, WithOther, fmt.Sprintf("there is no litter %d", e.With)}
			}
		}
		if old, ok := c.book.Entry(e.Replaces); ok { // the other side of a fostering that was corrected
			touched[old.With] = true
		}
	}
	for _, r := range c.book.records {
		if touched[r.ID] {
			if err := c.litter(r); err != nil {
				return c.needed(err)
			}
		}
	}
	for _, r := range c.book.records {
		if touched[r.ID] {
			if err := c.neighbours(r); err != nil {
				return err
			}
		}
	}
	return c.places()
}

// needed says of an entry that was to be struck which other one cannot stand without it.
func (c *check) needed(err error) error {
	var no *Refusal
	if errors.As(err, &no) && no.Entry.What == Struck && c.blamed.ID != no.Entry.ID {
		id, e := no.Entry.Replaces, c.blamed
		no.Why = fmt.Sprintf("entry %d, %s on %s, cannot stand without entry %d; strike that one first, or correct entry %d", e.ID, e.What, c.on(e.At), id, id)
	}
	return err
}

// refuse blames an entry, or where it was there before the one that was added to its litter; about is what of it to look at first.
func (c *check) refuse(e Entry, about Field, format string, args ...any) error {
	c.blamed = e
	row := c.row(e)
	if row < 0 {
		row = max(0, slices.IndexFunc(c.added, func(a Entry) bool { return a.Litter == e.Litter }))
	}
	return &Refusal{row, c.added[row], about, fmt.Sprintf(format, args...)}
}

func (c *check) on(at time.Time) string { return litter.DateOf(at, c.book.rules.Location).String() }

func (e Entry) on(loc *time.Location) string { return litter.DateOf(e.At, loc).String() }

func (c *check) days(from, to time.Time) int { return litter.Day(from, to, c.book.rules.Location) }

// litter looks at one litter by itself.
func (c *check) litter(r *Record) error {
	if r.began().IsZero() {
		return c.refuse(r.Entries[0], InLitter, "there is no litter %d: neither a breeding nor a kindling of it is in the book; look at the number, or enter one of them first", r.ID)
	}
	if err := c.twice(r); err != nil {
		return err
	}
	seen, last := map[What]Entry{}, Entry{}
	n, known := 0, false
	lay := ""
	most, day := 0, time.Time{} // of the kits that lived on the day of an entry
	for _, e := range r.Entries {
		if c.days(day, e.At) != 0 {
			most, day = n, e.At
		}
		if err := c.inOrder(r, e, seen); err != nil {
			return err
		}
		if e.What == Moved && lay != "" && c.fresh(e) && (e.To == lay || e.Nest != "" && e.Nest != lay) {
			return c.refuse(e, ToNest, "moved to %s on %s, but by the book litter %d lay in %s before; look at the nests, and write the hour where it was moved twice on a day", e.To, c.on(e.At), r.ID, lay)
		}
		lay = e.lies(lay)
		if known && e.Kits != nil && (e.What == Collected || e.What == Weaned) {
			switch {
			case *e.Kits > n:
				return c.refuse(e, KitsField, "%d %s on %s, but only %d of litter %d were left; correct the count, the born or the lost", *e.Kits, e.What, c.on(e.At), n, r.ID)
			case *e.Kits < n:
				c.doubt(e, "litter %d: %d %s, but by the book %d were left; enter what became of the other %d", r.ID, *e.Kits, e.What, n, n-*e.Kits)
			}
		}
		before := n
		for _, w := range []What{Collected, Weaned} {
			if counted, ok := seen[w]; ok && e.What == Lost && c.days(counted.At, e.At) == 0 && !counted.before(&e) {
				newer := e
				if c.row(e) < 0 {
					newer = counted
				}
				c.doubt(newer, "litter %d: %d lost on %s must have died after the others were %s that day, for the book has no more; look at both counts", r.ID, *e.Kits, c.on(e.At), w)
			}
		}
		if n, known = e.leaves(n, known); known && n < 0 {
			return c.refuse(e, KitsField, "%d %s on %s, but only %d of litter %d were left; correct the count, the born or the lost", *e.Kits, e.What, c.on(e.At), before, r.ID)
		}
		most = max(most, n)
		switch {
		case e.What == Weighed:
			if e.Kits != nil && known && *e.Kits > most {
				return c.refuse(e, KitsField, "%d weighed on %s, but only %d of litter %d lived that day; correct the count, the born or the lost", *e.Kits, c.on(e.At), most, r.ID)
			}
			each := e.Grams
			if e.Kits != nil {
				each /= float64(*e.Kits)
			}
			if each < lightest || each > heaviest {
				c.doubt(e, "litter %d: %.0f g for one kit on %s is unusual; look at the count and the scale", r.ID, each, c.on(e.At))
			}
		case (e.What == Weaned || e.What == Ended) && known && n > 0 && c.days(r.Kindled, e.At) < c.book.rules.Days.Wean.From:
			c.doubt(e, "litter %d: %s on day %d with %d kits left; their nest is no longer watched, so strike entry %d if they are still in it",
				r.ID, e.What, c.days(r.Kindled, e.At), n, e.ID)
		}
		if e.What != Noted && e.What != Did {
			seen[e.What], last = e, e
		}
	}
	if out := r.sold(); known && out > n {
		return c.refuse(last, KitsField, "%d of litter %d sold and kept together, but only %d were left", out, r.ID, n)
	}
	if !r.Bred.IsZero() && !r.Kindled.IsZero() {
		if days := c.days(r.Bred, r.Kindled); days < SeenFrom || days > SeenTo {
			c.doubt(seen[Kindled], "litter %d: kindled on day %d after breeding; kindlings are seen on days %d to %d, so look at both dates", r.ID, days, SeenFrom, SeenTo)
		}
	}
	return nil
}

// fresh reports whether an entry is new and stood in no book before.
func (c *check) fresh(e Entry) bool {
	return !c.stored[e.ID] && c.row(e) >= 0
}

// lies is where a litter lies after an entry.
func (e Entry) lies(nest string) string {
	switch e.What {
	case Bred, Kindled:
		return e.Nest
	case Moved, Collected:
		return cmp.Or(e.To, nest)
	}
	return nest
}

func (r *Record) sold() (out int) {
	for _, e := range r.Entries {
		if e.What == Sold || e.What == Kept {
			out += *e.Kits
		}
	}
	return out
}

// once lists what happens to a litter at most once.
var once = []What{Bred, Kindled, Collected, Weaned, Ended, DidNotKindle}

// ofKits lists what can happen only to kits that are born.
var ofKits = []What{FosteredIn, FosteredOut, Lost, Weighed, Collected, Weaned, Sold, Kept}

// twice refuses the later written of two entries of a kind that comes once, whatever their dates.
func (c *check) twice(r *Record) error {
	first := map[What]Entry{}
	for _, e := range r.Entries {
		old, twice := first[e.What]
		if twice && slices.Contains(once, e.What) {
			if old.ID > e.ID {
				old, e = e, old
			}
			return c.refuse(e, TheWhat, "litter %d is already %s, on %s (entry %d); correct that entry, or name another litter", r.ID, e.What, c.on(old.At), old.ID)
		}
		first[e.What] = e
	}
	return nil
}

// inOrder says what an entry contradicts in those before it.
func (c *check) inOrder(r *Record, e Entry, seen map[What]Entry) error {
	if e.What == Noted || e.What == Did {
		return nil
	}
	began := r.began()
	if c.days(began, e.At) < 0 {
		if e.What == Kindled || e.What == DidNotKindle {
			return c.refuse(e, TheTime, "%s on %s is before bred on %s; look at both dates", e.What, c.on(e.At), c.on(r.Bred))
		}
		return c.refuse(e, TheTime, "%s on %s is before litter %d began, on %s; look at the dates", e.What, c.on(e.At), r.ID, c.on(began))
	}
	if slices.Contains(ofKits, e.What) && (r.Kindled.IsZero() || c.days(r.Kindled, e.At) < 0) {
		if r.Kindled.IsZero() {
			return c.refuse(e, TheWhat, "litter %d has not kindled; enter the kindling first", r.ID)
		}
		return c.refuse(e, TheTime, "%s on %s is before litter %d was born, on %s; look at the dates", e.What, c.on(e.At), r.ID, c.on(r.Kindled))
	}
	if end := closing(seen); end.What != "" && (end.What == DidNotKindle || e.What != Sold && e.What != Kept && e.What != Weighed && e.What != Lost) {
		return c.refuse(e, TheWhat, "litter %d is %s since %s (entry %d), so %s cannot follow; correct or strike that entry first", r.ID, end.What, c.on(end.At), end.ID, e.What)
	}
	switch days := c.days(began, e.At); {
	case e.What == DidNotKindle && seen[Kindled].ID > e.ID:
		return c.refuse(seen[Kindled], TheWhat, "litter %d is %s since %s (entry %d); strike that entry first if it is wrong", r.ID, e.What, c.on(e.At), e.ID)
	case e.What == DidNotKindle && !r.Kindled.IsZero():
		return c.refuse(e, TheWhat, "litter %d kindled on %s; strike that entry first if it is wrong", r.ID, c.on(r.Kindled))
	case e.What == Palpated && !r.Kindled.IsZero() && c.days(r.Kindled, e.At) > 0:
		return c.refuse(e, TheTime, "palpated on %s is after she kindled, on %s; look at the dates", c.on(e.At), c.on(r.Kindled))
	case e.What == Weaned && c.days(r.Kindled, e.At) < neverWeaned:
		return c.refuse(e, TheTime, "weaned on day %d, when kits live on milk alone; was weighed meant? Kits that are gone in another way are ended", c.days(r.Kindled, e.At))
	case days > oldestLitter && e.What != Sold && e.What != Kept && e.What != Ended:
		return c.refuse(e, TheTime, "%s on %s is %d days after litter %d began; look at the date, or name another litter", e.What, c.on(e.At), days, r.ID)
	}
	return nil
}

func closing(seen map[What]Entry) Entry {
	for _, w := range []What{DidNotKindle, Ended, Weaned} {
		if e, ok := seen[w]; ok {
			return e
		}
	}
	return Entry{}
}

// neighbours looks at a litter beside the others: in its nests, of its doe, and where kits were fostered.
func (c *check) neighbours(r *Record) error {
	for _, o := range c.book.records {
		if o.ID == r.ID {
			continue
		}
		if err := c.share(r, o); err != nil {
			return err
		}
		if r.Doe != "" && r.Doe == o.Doe && r.Bred.IsZero() && o.Kindled.IsZero() && o.Open() && c.days(o.Bred, r.Kindled) > 0 {
			first := r.Entries[slices.IndexFunc(r.Entries, func(e Entry) bool { return e.What == Kindled })]
			c.doubt(first, "litter %d: by the book %s kindled in nest %s without having been bred there, and is bred in nest %s since %s (litter %d), which stays open; if it is that one, strike entry %d and enter the kindling with --litter %d, or move it first",
				r.ID, r.Doe, first.Nest, o.Nest(), c.on(o.Bred), o.ID, first.ID, o.ID)
		}
		if r.Doe != "" && r.Doe == o.Doe && r.Kindled.IsZero() && o.Kindled.IsZero() && r.Open() && o.Open() {
			return c.refuse(r.Entries[0], TheDoe, "%s is bred already, on %s (litter %d); close that with did-not-kindle, or correct its date", r.Doe, c.on(o.Bred), o.ID)
		}
	}
	for _, e := range r.Entries {
		if e.With == 0 {
			continue
		}
		o := c.book.Record(e.With)
		if o == nil || r.ID == e.With {
			return c.refuse(e, WithOther, "kits of litter %d cannot be fostered to litter %d", r.ID, e.With)
		}
		if given, taken := r.fostered(e, FosteredOut, FosteredIn, o, c); given != taken {
			return c.refuse(e, KitsField, "on %s %d kits left one litter and %d came into the other (litters %d and %d); write both sides alike", c.on(e.At), given, taken, r.ID, o.ID)
		}
		if days := c.days(r.Kindled, o.Kindled); e.What == FosteredIn && (days > fosterApart || days < -fosterApart) {
			c.doubt(e, "litters %d and %d were born %d days apart; kits are fostered within %d days", r.ID, o.ID, max(days, -days), fosterApart)
		}
	}
	return nil
}

// fostered counts both sides of a fostering on one day.
func (r *Record) fostered(e Entry, out, in What, o *Record, c *check) (given, taken int) {
	from, to := r, o
	if e.What == in {
		from, to = o, r
	}
	count := func(of *Record, what What, with int64) (n int) {
		for _, x := range of.Entries {
			if x.What == what && x.With == with && c.days(x.At, e.At) == 0 {
				n += *x.Kits
			}
		}
		return n
	}
	return count(from, out, to.ID), count(to, in, from.ID)
}

// share refuses two litters of kits, or two pregnancies, in one nest at one time. On the day one leaves another may come.
func (c *check) share(r, o *Record) error {
	for _, a := range r.Stays {
		for _, b := range o.Stays {
			if _, known := c.book.rules.Nests[a.Nest]; a.Nest != b.Nest || !known { // elsewhere litters may grow up together
				continue
			}
			aFrom, aUntil := r.kits(a)
			bFrom, bUntil := o.kits(b)
			if c.overlap(aFrom, aUntil, bFrom, bUntil) {
				return c.refuse(r.newest(a), InNest, "nest %s holds litter %d, born on %s, whose kits are still there; move, collect, wean or end it first", a.Nest, o.ID, c.on(o.Kindled))
			}
			if r.Kindled.IsZero() && o.Kindled.IsZero() && r.Open() && o.Open() && a.Until.IsZero() && b.Until.IsZero() {
				return c.refuse(r.newest(a), InNest, "nest %s is kept for litter %d, bred on %s; close that with did-not-kindle, correct its date, or name another nest", a.Nest, o.ID, c.on(o.Bred))
			}
		}
	}
	return nil
}

// newest is the entry that brought the litter into a stay.
func (r *Record) newest(s Stay) Entry {
	for _, e := range r.Entries {
		if e.At.Equal(s.From) && (e.Nest == s.Nest || e.To == s.Nest) {
			return e
		}
	}
	return r.Entries[0]
}

// overlap reports whether two spans share more than a day at an end; a zero until is open, a zero from none.
func (c *check) overlap(aFrom, aUntil, bFrom, bUntil time.Time) bool {
	if aFrom.IsZero() || bFrom.IsZero() {
		return false
	}
	return (bUntil.IsZero() || c.days(aFrom, bUntil) > 0) && (aUntil.IsZero() || c.days(bFrom, aUntil) > 0)
}

// cage reports whether the litter was collected into a place, which need not be a nest.
func (e Entry) cage(place string, r *Record) bool {
	if e.What == Collected && e.To == place {
		return true
	}
	return r != nil && e.To != place && e.What != Bred && e.What != Kindled && slices.ContainsFunc(r.Entries, func(o Entry) bool { return o.What == Collected && o.To == place })
}

func unknownNest(nest string) string {
	return fmt.Sprintf("nest %q is not in the configuration; write one that is", nest)
}

// places refuses nests that nobody knows.
func (c *check) places() error {
	for i, e := range c.added {
		if e.What == Struck {
			continue
		}
		r := c.book.Record(e.Litter)
		past := r != nil && !r.Open() || r == nil && c.stored[e.ID] || c.book.gone[e.ID] != 0
		for _, named := range []struct {
			field Field
			nest  string
		}{{InNest, e.Nest}, {ToNest, e.To}} {
			if _, known := c.book.rules.Nests[named.nest]; named.nest == "" || known || past || e.cage(named.nest, r) {
				continue
			}
			return &Refusal{i, e, named.field, unknownNest(named.nest)}
		}
	}
	return nil
}
