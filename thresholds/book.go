package thresholds

import (
	"slices"
	"time"

	"nestmon/thresholds/litter"
)

// SetLitters replaces the litter book. In each nest the newest litter that has begun counts; one that begins later takes over on
// its day.
func (r *Rabbitry) SetLitters(book []litter.Litter, now time.Time) {
	r.book = slices.Clone(book)
	r.chooseLitters(now)
}

func (r *Rabbitry) chooseLitters(now time.Time) {
	r.turnover = time.Time{}
	for _, w := range r.nests {
		var current *litter.Litter
		for i := range r.book {
			l := &r.book[i]
			switch begin := began(l); {
			case l.Nest != w.Config().ID:
			case begin.After(now):
				if r.turnover.IsZero() || begin.Before(r.turnover) {
					r.turnover = begin
				}
			case current == nil || begin.After(began(current)):
				current = l
			}
		}
		w.SetLitter(current)
	}
}

// began is the day of breeding, or of kindling where the breeding was not entered.
func began(l *litter.Litter) time.Time {
	if l.Bred.IsZero() {
		return l.Kindled
	}
	return l.Bred
}
