package nest

import (
	"time"

	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// unknownAge stands for an age nobody knows; the limit tables answer it with the row of the youngest kits.
const unknownAge = -1

// days is the litter clock as far as one day goes: whole local days, worked out anew only when the date changes.
type days struct {
	until time.Time // the next local midnight, or when something new is known
	bred  int       // days since breeding, -1 when not known
	age   int       // days since kindling, unknownAge when not known
	ended bool
	out   bool // their box was taken out
}

func (d *days) step(w *Watch, n *Now) {
	if n.Wall.Before(d.until) {
		return
	}
	*d = days{until: litter.NextDay(n.Wall, w.loc), bred: -1, age: unknownAge}
	if !w.has {
		return
	}
	if !w.book.Ended.IsZero() {
		if d.ended = !n.Wall.Before(w.book.Ended); !d.ended && w.book.Ended.Before(d.until) {
			d.until = w.book.Ended
		}
	}
	if !w.book.Bred.IsZero() {
		d.bred = litter.Day(w.book.Bred, n.Wall, w.loc)
	}
	kindled := w.kindled()
	switch {
	case kindled.IsZero() || d.ended:
	case n.Wall.Before(kindled):
		if kindled.Before(d.until) {
			d.until = kindled
		}
	default:
		d.age = litter.Day(kindled, n.Wall, w.loc)
		d.out = !w.boxOut().IsZero()
	}
}

// kindled is the keeper's date, or while there is none the one proposed by the watch, or zero.
func (w *Watch) kindled() time.Time {
	if w.has && w.book.Kindled.IsZero() {
		return w.birth.proposed
	}
	return w.book.Kindled
}

// hasKits reports whether kits are known to be in the nest.
func (w *Watch) hasKits() bool {
	return w.days.age >= 0 && w.days.age <= brood.LastClusterDay && !w.days.out
}

// mayHoldKits reports whether kits up to the given age are, or for all that is known could be, in the nest: an age nobody
// entered is no all-clear.
func (w *Watch) mayHoldKits(age int) bool {
	switch {
	case w.days.ended, w.days.out:
		return false
	case w.days.age >= 0:
		return w.days.age <= age
	case w.has && w.days.bred >= 0:
		return w.days.bred >= litter.EarliestKindling
	}
	return true
}

func (w *Watch) kits() int {
	if w.book.Kits > 0 {
		return w.book.Kits
	}
	if w.book.Born > 0 {
		return w.book.Born
	}
	return litter.UnknownBorn
}

// box reports whether the nest is a box above ground.
func (w *Watch) box() bool { return w.cfg.Kind != brood.BuriedTote }
