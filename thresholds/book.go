package thresholds

import (
	"slices"
	"time"

	"nestmon/thresholds/litter"
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
		kindled := func(l *litter.Litter) time.Time {
			if now := w.Litter(); l.Kindled.IsZero() && now != nil && now.ID == l.ID && now.Bred.Equal(l.Bred) {
				return now.Kindled // proposed
			}
			return l.Kindled
		}
		current, turns := litter.Current(r.book, w.Config().ID, now, kindled, r.cfg.Location)
		if !turns.IsZero() && (r.turnover.IsZero() || turns.Before(r.turnover)) {
			r.turnover = turns
		}
		w.SetLitter(current)
		r.look(w)
	}
}
