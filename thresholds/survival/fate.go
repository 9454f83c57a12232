package survival

import (
	"slices"
	"time"

	"nestmon/thresholds/book"
	"nestmon/thresholds/litter"
)

// forgotten is how many days after the latest weaning an open litter is no longer believed to be watched; ours, no source.
const forgotten = 14

// Weaning stands for the day of weaning where days are listed.
const Weaning = 0

// days are those that survival is told of.
var days = []int{3, 10, 21, Weaning}

// why is the reason for which a litter says nothing of a day.
type why int

const (
	counts why = iota
	uncounted
	noKits
	young
	closed
	openForLong
)

// fate is what became of a litter's kits by the end of a day.
type fate struct {
	kits
	missing int // of those that did not live: nobody wrote what became of them
	later   int // alive here, and missing at a later count
}

// life reads one litter.
type life struct {
	*book.Record
	now time.Time
	loc *time.Location

	wean litter.Window
}

func (l life) age(at time.Time) int { return litter.Day(l.Kindled, at, l.loc) }

// by is what the entries up to the end of a day say, at weaning those up to it.
func (l life) by(day int) fate {
	n := len(l.Entries)
	if i := slices.IndexFunc(l.Entries, func(e book.Entry) bool {
		return day != Weaning && l.age(e.At) > day || day == Weaning && e.What == book.Weaned
	}); i >= 0 && day == Weaning {
		n = i + 1
	} else if i >= 0 {
		n = i
	}
	f := tally(l.Entries[:n])
	f.later = tally(l.Entries).missing - f.missing
	return f
}

// tally adds up entries in their order.
func tally(entries []book.Entry) fate {
	f, lost := fate{}, 0
	for _, e := range entries {
		n := 0
		if e.Kits != nil {
			n = *e.Kits
		}
		switch left := f.of - lost - f.missing; {
		case e.What == book.Kindled, e.What == book.FosteredIn:
			f.of += n
		case e.What == book.FosteredOut, e.What == book.Sold, e.What == book.Kept:
			f.of -= n
		case e.What == book.Lost:
			lost += n
		case e.Kits != nil && (e.What == book.Collected || e.What == book.Weaned):
			f.missing += max(0, left-n)
		}
	}
	f.lived = max(0, f.of-lost-f.missing)
	return f
}

// at is what a litter says of a day. weaned is the age from which litters count for weaning.
func (l life) at(day, weaned int) (fate, why) {
	if l.Born == nil {
		return fate{}, uncounted
	}
	until := day
	if day == Weaning {
		until = weaned
	}
	if l.age(l.now) <= until {
		return fate{}, young
	}
	f := l.by(day)
	switch last := l.Entries[len(l.Entries)-1].At; {
	case f.of <= 0:
		return fate{}, noKits
	case f.lived == 0:
	case day == Weaning && !l.Weaned.IsZero():
	case l.Open() && l.age(l.now) > l.wean.To+forgotten && (day == Weaning || l.age(last) < day):
		return fate{}, openForLong
	case day == Weaning && l.Open():
		return fate{}, young
	case !l.Open() && (day == Weaning || l.age(l.Ended) < day):
		return fate{}, closed
	}
	return f, counts
}
