package nest

import (
	"fmt"
	"slices"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

// marks is when chores were marked done, each oldest first. They may come late, twice and in any order, and may be struck: what was
// done before counts again.
type marks map[alarm.Name][]time.Time

const (
	marksKept = 16               // of each chore: a week of two looks a day
	markFine  = time.Millisecond // the archive keeps times no finer
	justNow   = time.Hour        // a mark younger than this is about what the probes show now
)

// add reports whether the mark is new.
func (m marks) add(name alarm.Name, at time.Time) bool {
	at = at.Round(0).Truncate(markFine)
	i, known := slices.BinarySearchFunc(m[name], at, time.Time.Compare)
	if known {
		return false
	}
	m[name] = slices.Insert(m[name], i, at)
	if over := len(m[name]) - marksKept; over > 0 {
		m[name] = slices.Delete(m[name], 0, over)
	}
	return true
}

func (m marks) strike(name alarm.Name, at time.Time) bool {
	at = at.Round(0).Truncate(markFine)
	i, known := slices.BinarySearchFunc(m[name], at, time.Time.Compare)
	if known {
		m[name] = slices.Delete(m[name], i, i+1)
	}
	return known
}

// last is the newest mark, zero for none.
func (m marks) last(name alarm.Name) time.Time {
	if all := m[name]; len(all) > 0 {
		return all[len(all)-1]
	}
	return time.Time{}
}

// putBack drops what was done at times that have not come yet.
func (m marks) putBack(now time.Time) {
	for name, all := range m {
		m[name] = slices.DeleteFunc(all, func(at time.Time) bool { return at.After(now) })
	}
}

// looksIn are the chores that nobody does without looking into the nest.
var looksIn = []alarm.Name{alarm.InspectDue, alarm.BeddingDue, alarm.TurnBoxDue, alarm.RemoveBoxDue, alarm.CollectDue}

// looked is when somebody last did one of them.
func (m marks) looked() (at time.Time) {
	for _, name := range looksIn {
		at = later(at, m.last(name))
	}
	return at
}

// bedded is when bedding was last changed. A box that is turned is bedded anew.
func (m marks) bedded() time.Time { return later(m.last(alarm.BeddingDue), m.last(alarm.TurnBoxDue)) }

// MayDo says why a mark cannot be true.
func (w *Watch) MayDo(name alarm.Name, at time.Time) error {
	if name == alarm.RemoveBoxDue && w.has && !w.kindled().IsZero() && at.After(w.kindled()) && at.Before(w.day(litter.BoxOutEarliest)) {
		return fmt.Errorf("the kits of nest %s are younger than %d days and need their box; look at the nest and the date, or enter the litter as ended if they are gone",
			w.cfg.ID, litter.BoxOutEarliest)
	}
	return nil
}

// Done records that a chore was done, also some time ago. The same mark again changes nothing.
func (w *Watch) Done(n *Now, name alarm.Name, at time.Time) error {
	if err := w.MayDo(name, at); err != nil || !w.marks.add(name, at) {
		return err
	}
	w.days.until, w.due.until = time.Time{}, time.Time{}
	if name == alarm.BeddingDue || name == alarm.TurnBoxDue || name == alarm.VentilationDue {
		w.damp.done(name, at)
	}
	if name == alarm.ResealToteDue && !w.damp.wetAt.After(at) {
		w.damp.wetFor, w.damp.wetAt = 0, time.Time{}
	}
	if slices.Contains(looksIn, name) {
		w.looked(n, at)
	}
	if name == alarm.TurnBoxDue {
		w.remade(n, at)
		w.pile.remade(n, at)
	}
	return nil
}

// looked takes that somebody looked in.
func (w *Watch) looked(n *Now, at time.Time) {
	w.visits.inspected(n, at)
	if n.Wall.Sub(at) < justNow {
		w.pile.looked()
	}
	if chill := &w.slots[chillRule]; !chill.On() || at.After(chill.Standing().Since) {
		w.pile.chill.restored = false
	}
}

// Undone strikes a mark. What the nest has learned anew since stays so.
func (w *Watch) Undone(name alarm.Name, at time.Time) {
	if !w.marks.strike(name, at) {
		return
	}
	w.days.until, w.due.until = time.Time{}, time.Time{}
	w.damp.undone(at)
	w.visits.entered = w.marks.looked()
}

// remade takes that the nest is another one than was learned: what it was before says nothing of it.
func (w *Watch) remade(n *Now, at time.Time) {
	w.learned.remade(dateOf(at.In(w.loc)))
	if n.Wall.Sub(at) < justNow {
		w.learned.forget()
	}
}

// MadeUp takes that the nest got another season's bedding and lining.
func (w *Watch) MadeUp(n *Now, at time.Time) {
	w.remade(n, at)
	if n.Wall.Sub(at) < justNow {
		w.pile.looked()
	}
}

// boxOut is when the kits' box was taken out, zero while it is in. One that was put in again is in, and that of the kits before them, in a
// nest they were moved to, was not theirs.
func (w *Watch) boxOut() time.Time {
	from := w.kindled()
	if from.IsZero() || !w.box() {
		return time.Time{}
	}
	at, in := w.marks.last(alarm.RemoveBoxDue), later(w.book.Since, w.marks.last(alarm.BoxDue))
	if at.Before(w.day(litter.BoxOutEarliest)) || !at.After(in) {
		return time.Time{}
	}
	return at
}
