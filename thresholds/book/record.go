package book

import (
	"cmp"
	"slices"
	"time"

	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Record is one litter as the entries in force make it. A zero time means not, or not known.
type Record struct {
	ID      int64
	Doe     string
	Buck    string
	Bred    time.Time
	Found   Found // what palpation found
	Kindled time.Time
	Born    *int // alive; nil where nobody counted
	Dead    *int // born dead
	Season  brood.Season
	Weaned  time.Time
	Ended   time.Time // nothing comes after it: weaned, gone, lost, or she did not kindle
	Failed  bool      // she did not kindle
	Stays   []Stay    // where it lay, one after the other
	Entries []Entry   // in force, in the order in which they happened
}

// Stay is the time a litter, or the doe that carries it, had one nest.
type Stay struct {
	Nest        string
	Kind        brood.Kind // empty where it was not written down
	Bedding     string
	Depth       float64 // cm
	From, Until time.Time
}

// Open reports whether something of the litter is still to come.
func (r *Record) Open() bool { return r.Ended.IsZero() }

// lies reports whether it has a nest now.
func (r *Record) lies() bool {
	n := len(r.Stays)
	return n > 0 && r.Stays[n-1].Until.IsZero()
}

// bereft reports whether it is over for no other reason than that no kit is left.
func (r *Record) bereft() bool {
	return !r.Open() && !r.Kindled.IsZero() && r.Weaned.IsZero() && !slices.ContainsFunc(r.Entries, func(e Entry) bool { return e.What == Ended })
}

// Nest is where it is, or was last.
func (r *Record) Nest() string {
	if n := len(r.Stays); n > 0 {
		return r.Stays[n-1].Nest
	}
	return ""
}

// Alive is how many kits of the litter lived at the end of the day at which t falls in loc. known is false while nobody has counted.
func (r *Record) Alive(t time.Time, loc *time.Location) (n int, known bool) {
	for i := range r.Entries {
		e := &r.Entries[i]
		if e.At.After(t) && litter.Day(t, e.At, loc) > 0 {
			break
		}
		n, known = e.leaves(n, known)
	}
	return n, known
}

// leaves is how many kits there are after an entry.
func (e *Entry) leaves(n int, known bool) (int, bool) {
	kits := 0
	if e.Kits != nil {
		kits = *e.Kits
	}
	switch {
	case e.Kits == nil:
	case e.What == Kindled, e.What == Collected, e.What == Weaned:
		return kits, true
	case e.What == FosteredIn:
		n += kits
	case e.What == Lost, e.What == FosteredOut:
		n -= kits
	}
	return n, known
}

// fold makes a litter of its entries, which are in order.
func fold(id int64, entries []Entry) *Record {
	r := &Record{ID: id, Entries: entries}
	n, known := 0, false
	var none time.Time // since when no kit is left
	for _, e := range entries {
		r.take(e)
		if n, known = e.leaves(n, known); n > 0 || !known {
			none = time.Time{}
		} else if none.IsZero() {
			none = e.At
		}
	}
	if known && n <= 0 && !r.Kindled.IsZero() {
		r.end(none)
	}
	return r
}

func (r *Record) take(e Entry) {
	r.Doe, r.Buck = cmp.Or(e.Doe, r.Doe), cmp.Or(e.Buck, r.Buck)
	r.Season = cmp.Or(e.Season, r.Season)
	switch e.What {
	case Bred:
		r.Bred = e.At
		r.lie(e.Nest, e)
	case Palpated:
		r.Found = e.Found
	case Kindled:
		r.Kindled, r.Born, r.Dead = e.At, e.Kits, e.Dead
		if r.Nest() != e.Nest {
			r.lie(e.Nest, e)
		}
	case Moved:
		r.lie(e.To, e)
	case Collected:
		r.leave(e.At)
		if e.To != "" {
			r.lie(e.To, e)
		}
	case Weaned:
		r.Weaned = e.At
		r.end(e.At)
	case Ended, DidNotKindle:
		r.Failed = e.What == DidNotKindle
		r.end(e.At)
	}
	if n := len(r.Stays); n > 0 && r.Stays[n-1].Until.IsZero() {
		st := &r.Stays[n-1]
		st.Bedding, st.Kind = cmp.Or(e.Bedding, st.Bedding), cmp.Or(e.Kind, st.Kind)
		st.Depth = cmp.Or(e.Depth, st.Depth)
	}
}

// lie puts it into a nest.
func (r *Record) lie(nest string, e Entry) {
	r.leave(e.At)
	r.Stays = append(r.Stays, Stay{Nest: nest, From: e.At})
}

func (r *Record) leave(at time.Time) {
	if n := len(r.Stays); n > 0 && r.Stays[n-1].Until.IsZero() {
		r.Stays[n-1].Until = at
	}
}

func (r *Record) end(at time.Time) {
	r.leave(at)
	if r.Ended.IsZero() {
		r.Ended = at
	}
}

// kits is from when to when kits of the litter lay in a stay; from is zero where none did.
func (r *Record) kits(s Stay) (from, until time.Time) {
	if r.Kindled.IsZero() || !s.Until.IsZero() && s.Until.Before(r.Kindled) {
		return time.Time{}, time.Time{}
	}
	from = s.From
	if from.Before(r.Kindled) {
		from = r.Kindled
	}
	return from, s.Until
}

// order sorts entries as they happened: by day, then as a litter's life goes. They are large, so their places are sorted.
func order(entries []Entry, loc *time.Location) {
	type place struct {
		day, what, from int
		at              time.Time
		id              int64
	}
	places := make([]place, len(entries))
	for i := range entries {
		e := &entries[i]
		places[i] = place{litter.Day(time.Time{}, e.At, loc), slices.Index(Whats, e.What), i, e.At, e.ID}
	}
	slices.SortFunc(places, func(a, b place) int {
		return cmp.Or(cmp.Compare(a.day, b.day), cmp.Compare(a.what, b.what), a.at.Compare(b.at), cmp.Compare(a.id, b.id), cmp.Compare(a.from, b.from))
	})
	out := make([]Entry, len(entries))
	for i, p := range places {
		out[i] = entries[p.from]
	}
	copy(entries, out)
}

// settle puts a loss behind the count of its day where it cannot have come before: kits that were counted, and of which one died that evening. The
// entries are of one litter and in order.
func settle(entries []Entry, loc *time.Location) {
	n, known := 0, false
	for i := 0; i < len(entries); i++ {
		if e := &entries[i]; e.Kits != nil && (e.What == Collected || e.What == Weaned) && known {
			for j := i - 1; j >= 0 && *entries[i].Kits > n && litter.Day(entries[j].At, entries[i].At, loc) == 0; j-- {
				if lost := entries[j]; lost.What == Lost && !lost.before(&entries[i]) {
					copy(entries[j:], entries[j+1:i+1])
					entries[i] = lost
					n += *lost.Kits
					i--
				}
			}
		}
		n, known = entries[i].leaves(n, known)
	}
}

// before reports whether an entry surely comes before another of its day.
func (e *Entry) before(o *Entry) bool { return !e.Day && !o.Day && e.At.Before(o.At) }
