package book

import (
	"fmt"
	"slices"
	"time"

	"nestmon/thresholds/litter"
)

// Refusal says which of the entries that were to be added cannot be true, and why.
type Refusal struct {
	Row   int // its place among those added, from 0
	Entry Entry
	Field Field // what of it to look at first, empty where nobody can tell
	Why   string
}

func (r *Refusal) Error() string { return r.Why }

// clocksDiffer is how far ahead of the board's clock an entry's time may lie: a phone's and a board's need not agree; ours, no source.
const clocksDiffer = time.Hour

// With is the book with more entries, all of them or none. Entries get the next numbers, and a breeding or kindling that names no litter
// begins one. It returns them as they are to be stored, and in plain words what is unusual in them but may be true. An error is a *Refusal.
func (b *Book) With(now time.Time, add ...Entry) (*Book, []Entry, []string, error) {
	added := slices.Clone(add)
	next, litters := b.free(add)
	for i := range added {
		e := &added[i]
		e.ID, e.Entered = next, now
		next++
		if e.Litter == 0 && e.begins() {
			e.Litter = litters
			litters++
		}
	}
	more, doubts, err := b.join(now, added, nil)
	if err != nil {
		return nil, nil, nil, err
	}
	return more, added, doubts, nil
}

// free are the first numbers that neither the book nor those entries have, of an entry and of a litter.
func (b *Book) free(add []Entry) (entry, litter int64) {
	for _, e := range b.entries {
		entry, litter = max(entry, e.ID), max(litter, e.Litter)
	}
	for _, e := range add {
		entry, litter = max(entry, e.ID), max(litter, e.Litter)
	}
	return entry + 1, litter + 1
}

// begins reports whether the entry can be the first of a litter.
func (e Entry) begins() bool { return e.What == Bred || e.What == Kindled }

// join is the book with entries that have their numbers. stored are the numbers of those that stood in a book before.
func (b *Book) join(now time.Time, added []Entry, stored map[int64]bool) (*Book, []string, error) {
	for i, e := range added {
		if field, err := e.wellFormed(); err != nil {
			return nil, nil, &Refusal{i, e, field, err.Error()}
		}
		for _, t := range []time.Time{e.At, e.Entered} {
			switch {
			case t.IsZero():
				return nil, nil, &Refusal{i, e, TheTime, fmt.Sprintf("%s on no day; write when", e.What)}
			case t.After(now.Add(clocksDiffer)):
				return nil, nil, &Refusal{i, e, TheTime, fmt.Sprintf("%s is in the future; look at the date", litter.DateOf(t, b.rules.Location))}
			}
		}
	}
	if err := b.replaceable(added); err != nil {
		return nil, nil, err
	}
	more := b.plus(added)
	check := check{book: more, added: added, stored: stored}
	if err := check.run(); err != nil {
		return nil, nil, err
	}
	return more, check.doubts, nil
}

// replaceable says which entry replaces one that it cannot.
func (b *Book) replaceable(added []Entry) error {
	gone := map[int64]bool{}
	for i, e := range added {
		if e.Replaces == 0 {
			continue
		}
		old, ok := b.Entry(e.Replaces)
		for _, other := range added[:i] {
			if other.ID == e.Replaces {
				old, ok = other, true
			}
		}
		why := ""
		switch {
		case !ok:
			why = fmt.Sprintf("there is no entry %d to replace; the number stands beside what was written of the litter", e.Replaces)
		case old.What == Struck:
			why = fmt.Sprintf("entry %d strikes another and cannot be replaced; enter again what was struck", e.Replaces)
		case b.gone[e.Replaces] != 0 || gone[e.Replaces]:
			why = fmt.Sprintf("entry %d was replaced before; replace the newer one", e.Replaces)
		case e.What != Struck && e.What != old.What:
			why = fmt.Sprintf("entry %d is %s and cannot become %s; strike it and enter the other", e.Replaces, old.What, e.What)
		case e.Litter != old.Litter:
			why = fmt.Sprintf("entry %d is about litter %d; a correction is about the same litter", e.Replaces, old.Litter)
		default:
			gone[e.Replaces] = true
			continue
		}
		return &Refusal{i, e, Earlier, why}
	}
	return nil
}
