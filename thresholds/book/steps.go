package book

import (
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

// Steps is what can be entered next about a litter, in the order in which it is likely: what does not fit it is not among them.
func (b *Book) Steps(r *Record, now time.Time) []What {
	has := map[What]bool{}
	for _, e := range r.Entries {
		has[e.What] = true
	}
	var out []What
	for _, s := range b.steps(r, now) {
		if s.fits && !has[s.only] {
			out = append(out, s.what)
		}
	}
	return out
}

// step is something that may follow: unless the entry only is there already, which is empty for what may come again and again.
type step struct {
	what What
	fits bool
	only What
}

func (b *Book) steps(r *Record, now time.Time) []step {
	day := func(since time.Time) int { return litter.Day(since, now, b.rules.Location) }
	n, counted := r.Alive(now, b.rules.Location)
	left := n - r.sold()
	out := !counted || left > 0
	switch {
	case r.Failed:
		return nil
	case r.Kindled.IsZero():
		late := day(r.Bred) >= SeenFrom
		return []step{
			{Kindled, late, ""}, {Palpated, true, Palpated}, {BoxIn, true, BoxIn}, {Kindled, !late, ""}, {DidNotKindle, true, ""}, {Moved, true, ""}, {Noted, true, ""},
		}
	case r.Open():
		return []step{
			{Lost, true, ""},
			{Weighed, true, ""},
			{Collected, true, Collected},
			{Weaned, day(r.Kindled) >= neverWeaned, ""},
			{FosteredOut, len(b.Partners(r)) > 0, ""},
			{Moved, true, ""},
			{Sold, out, ""},
			{Kept, out, ""},
			{Ended, true, ""},
			{Noted, true, ""},
		}
	}
	return []step{{Sold, out, ""}, {Kept, out, ""}, {Weighed, out, ""}, {Noted, true, ""}}
}

// Shows is what one enters about a litter to show that a chore was done, empty where marking it done says all.
func Shows(chore alarm.Name) What {
	for _, w := range Whats {
		if does[w] == chore {
			return w
		}
	}
	return ""
}
