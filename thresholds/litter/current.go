package litter

import (
	"time"

	"nestmon/thresholds/brood"
)

// Current is the litter that counts in a nest at an instant, nil while none has begun, and when to ask again; zero for never. The litter whose kits
// are in it counts, and while there is none the newest that has begun. kindled is when a litter was born, as entered or as proposed.
func Current(book []Litter, nest string, now time.Time, kindled func(*Litter) time.Time, loc *time.Location) (current *Litter, turns time.Time) {
	at := choice{now, kindled, loc}
	for i := range book {
		l := &book[i]
		if l.Nest != nest {
			continue
		}
		from, until := at.nursing(l)
		for _, t := range []time.Time{l.began(), from, until, l.Ended} {
			if t.After(now) && (turns.IsZero() || t.Before(turns)) {
				turns = t
			}
		}
		if !l.began().After(now) && (current == nil || at.outranks(l, current)) {
			current = l
		}
	}
	return current, turns
}

// choice is what Current goes by.
type choice struct {
	now     time.Time
	kindled func(*Litter) time.Time
	loc     *time.Location
}

// outranks reports whether litter a counts before litter b. A doe that was bred again still has the kits she has, and one that is over says
// nothing of the one to come.
func (c choice) outranks(a, b *Litter) bool {
	in := func(l *Litter) bool {
		from, until := c.nursing(l)
		return !from.IsZero() && !c.now.Before(from) && c.now.Before(until)
	}
	if in(a) != in(b) {
		return in(a)
	}
	over := func(l *Litter) bool { return !l.Ended.IsZero() && !c.now.Before(l.Ended) }
	carried := func(l *Litter) bool { return l.Kindled.IsZero() && !over(l) }
	if carried(a) != carried(b) { // a doe that waits counts before kits that have gone or are grown
		return carried(a)
	}
	if over(a) != over(b) {
		return over(b)
	}
	return a.newest().After(b.newest())
}

// nursing is from when to when a litter's kits are in the nest, as far as is known; zero while no kindling is.
func (c choice) nursing(l *Litter) (from, until time.Time) {
	if from = c.kindled(l); from.IsZero() {
		return from, from
	}
	until = StartOf(from, brood.LastClusterDay+1, c.loc)
	if !l.Ended.IsZero() && l.Ended.Before(until) {
		until = l.Ended
	}
	if from.Before(l.Since) {
		from = l.Since
	}
	return from, until
}

// newest is the last that is known to have brought a litter into its nest.
func (l *Litter) newest() time.Time {
	at := l.Since
	for _, t := range []time.Time{l.Bred, l.Kindled} {
		if t.After(at) {
			at = t
		}
	}
	return at
}

// began is when it came into the nest, the day of breeding, or of kindling where the breeding was not entered.
func (l *Litter) began() time.Time {
	if !l.Since.IsZero() {
		return l.Since
	}
	if l.Bred.IsZero() {
		return l.Kindled
	}
	return l.Bred
}
