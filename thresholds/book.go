package thresholds

import (
	"slices"
	"time"

	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

// SetLitters replaces the litter book. In each nest the litter whose kits are in it counts, and while there is none the newest that has
// begun; one that begins later takes over on its day. The same book again changes nothing.
func (r *Rabbitry) SetLitters(book []litter.Litter, now time.Time) {
	if r.started && slices.EqualFunc(book, r.book, litter.Litter.Equal) {
		return
	}
	r.book = slices.Clone(book)
	r.chooseLitters(now)
}

func (r *Rabbitry) chooseLitters(now time.Time) {
	r.turnover = time.Time{}
	for _, w := range r.nests {
		var current *litter.Litter
		for i := range r.book {
			l := &r.book[i]
			if l.Nest != w.Config().ID {
				continue
			}
			from, until := r.nursing(w, l)
			r.turnAt(now, began(l), from, until, l.Ended)
			if began(l).After(now) {
				continue
			}
			if current == nil || r.outranks(w, l, current, now) {
				current = l
			}
		}
		w.SetLitter(current)
		r.look(w)
	}
}

// turnAt has the book looked into again at the next of these times.
func (r *Rabbitry) turnAt(now time.Time, times ...time.Time) {
	for _, t := range times {
		if t.After(now) && (r.turnover.IsZero() || t.Before(r.turnover)) {
			r.turnover = t
		}
	}
}

// outranks reports whether litter a counts before litter b. A doe that was bred again still has the kits she has, and one that is over says
// nothing of the one to come.
func (r *Rabbitry) outranks(w *nest.Watch, a, b *litter.Litter, now time.Time) bool {
	in := func(l *litter.Litter) bool {
		from, until := r.nursing(w, l)
		return !from.IsZero() && !now.Before(from) && now.Before(until)
	}
	if in(a) != in(b) {
		return in(a)
	}
	over := func(l *litter.Litter) bool { return !l.Ended.IsZero() && !now.Before(l.Ended) }
	carried := func(l *litter.Litter) bool {
		return l.Kindled.IsZero() && !over(l)
	}
	if carried(a) != carried(b) { // a doe that waits counts before kits that have gone or are grown
		return carried(a)
	}
	if over(a) != over(b) {
		return over(b)
	}
	return newest(a).After(newest(b))
}

// newest is the last that is known to have brought a litter into its nest.
func newest(l *litter.Litter) time.Time {
	at := l.Since
	for _, t := range []time.Time{l.Bred, l.Kindled} {
		if t.After(at) {
			at = t
		}
	}
	return at
}

// nursing is from when to when a litter's kits are in the nest, as far as is known; zero while no kindling is.
func (r *Rabbitry) nursing(w *nest.Watch, l *litter.Litter) (from, until time.Time) {
	from = l.Kindled
	if now := w.Litter(); from.IsZero() && now != nil && now.ID == l.ID && now.Bred.Equal(l.Bred) {
		from = now.Kindled // proposed
	}
	if from.IsZero() {
		return from, from
	}
	until = litter.StartOf(from, brood.LastClusterDay+1, r.cfg.Location)
	if !l.Ended.IsZero() && l.Ended.Before(until) {
		until = l.Ended
	}
	if from.Before(l.Since) {
		from = l.Since
	}
	return from, until
}

// began is when it came into the nest, the day of breeding, or of kindling where the breeding was not entered.
func began(l *litter.Litter) time.Time {
	if !l.Since.IsZero() {
		return l.Since
	}
	if l.Bred.IsZero() {
		return l.Kindled
	}
	return l.Bred
}
