package book

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"nestmon/thresholds/litter"
)

// View is one litter at one instant, as people read it. What is not known is null in JSON.
type View struct {
	Litter  int64      `json:"litter"`
	Doe     string     `json:"doe,omitempty"`
	Buck    string     `json:"buck,omitempty"`
	Nest    string     `json:"nest"`
	Bred    *time.Time `json:"bred"`
	Found   Found      `json:"found,omitempty"`
	Kindled *time.Time `json:"kindled"`
	Born    *int       `json:"born"`
	Dead    *int       `json:"dead"`
	Alive   *int       `json:"alive"`
	Lost    int        `json:"lost"`
	Weaned  *time.Time `json:"weaned"`
	Ended   *time.Time `json:"ended"`
	Failed  bool       `json:"did_not_kindle,omitempty"`
	Day     *int       `json:"day"`    // after kindling, or after breeding before it; null where it is over
	Stands  string     `json:"stands"` // what that means now, in words
}

// View shows a litter at an instant.
func (b *Book) View(r *Record, now time.Time) View {
	loc := b.rules.Location
	v := View{
		Litter: r.ID, Doe: r.Doe, Buck: r.Buck, Nest: r.Nest(), Bred: known(r.Bred), Found: r.Found, Kindled: known(r.Kindled), Born: r.Born, Dead: r.Dead,
		Weaned: known(r.Weaned), Ended: known(r.Ended), Failed: r.Failed,
	}
	if n, counted := r.Alive(now, loc); counted {
		v.Alive = &n
	}
	for _, e := range r.Entries {
		if e.What == Lost {
			v.Lost += *e.Kits
		}
	}
	if r.Open() {
		since := r.Kindled
		if since.IsZero() {
			since = r.Bred
		}
		day := litter.Day(since, now, loc)
		v.Day = &day
	}
	v.Stands = r.stands(v, b.rules)
	return v
}

func known(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

// Who names the litter: "litter 12 (Hazel, oak)".
func (v View) Who() string {
	var in []string
	for _, name := range []string{v.Doe, v.Nest} {
		if name != "" {
			in = append(in, name)
		}
	}
	if len(in) == 0 {
		return fmt.Sprintf("litter %d", v.Litter)
	}
	return fmt.Sprintf("litter %d (%s)", v.Litter, strings.Join(in, ", "))
}

// Count is how many kits live, of those that were born where none were fostered in: "6 of 8".
func (v View) Count() string {
	switch {
	case v.Alive == nil:
		return ""
	case v.Born == nil || *v.Alive > *v.Born:
		return fmt.Sprint(*v.Alive)
	}
	return fmt.Sprintf("%d of %d", *v.Alive, *v.Born)
}

// stands says what the book makes of the litter now.
func (r *Record) stands(v View, rules Rules) string {
	left := "Nobody has counted the kits."
	if n := v.Count(); n != "" {
		left = n + " left."
	}
	switch {
	case r.Failed:
		return "Closed: she did not kindle."
	case !r.Weaned.IsZero():
		return "Closed: weaned. " + left
	case !r.Open():
		return "Closed. " + left
	case !r.Kindled.IsZero():
		return left
	case !r.Bred.IsZero():
		due := func(days int) string { return litter.DateOf(r.Bred, rules.Location).Add(days).String() }
		is := "is"
		if *v.Day > rules.Days.Expected.To {
			is = "was"
		}
		return fmt.Sprintf("Kindling %s expected on %s to %s.", is, due(rules.Days.Expected.From), due(rules.Days.Expected.To))
	}
	return ""
}

// Told is an entry with what became of it.
type Told struct {
	Entry
	ReplacedBy int64 `json:"replaced_by,omitempty"` // the entry that corrects or strikes it
}

// Story is all that was written about a litter, in the order in which it happened, and what no longer counts as well.
func (b *Book) Story(id int64) []Told {
	var out []Entry
	for i := range b.entries {
		if b.entries[i].Litter == id {
			out = append(out, *b.entries[i])
		}
	}
	return b.told(out)
}

// Past is all that is known of a nest: the entries in force that name it, and those of the litters in it.
func (b *Book) Past(nest string) []Told { return b.told(b.Nest(nest)) }

func (b *Book) told(entries []Entry) []Told {
	order(entries, b.rules.Location)
	out := make([]Told, len(entries))
	for i, e := range entries {
		out[i] = Told{e, b.gone[e.ID]}
	}
	return out
}

// Partners are the litters to which kits of one can be fostered: with kits, born within three days of it, the nearest first.
func (b *Book) Partners(r *Record) []*Record {
	var out []*Record
	apart := func(o *Record) int {
		n := litter.Day(r.Kindled, o.Kindled, b.rules.Location)
		return max(n, -n)
	}
	for _, o := range b.records {
		if o.ID != r.ID && o.Open() && !o.Kindled.IsZero() && apart(o) <= fosterApart {
			out = append(out, o)
		}
	}
	slices.SortStableFunc(out, func(a, c *Record) int { return cmp.Compare(apart(a), apart(c)) })
	return out
}

// Sum is what became of some litters together.
type Sum struct {
	Litters int           `json:"litters"`
	Kindled int           `json:"kindled"`
	Counted int           `json:"counted"` // of those, with the born counted
	Born    int           `json:"born"`    // alive
	Dead    int           `json:"dead"`    // born dead
	Weaned  int           `json:"weaned"`  // litters of which the kits were counted at weaning
	Alive   int           `json:"alive"`   // kits of those at weaning
	Lost    map[Cause]int `json:"lost"`
}

// SumOf adds litters up.
func (b *Book) SumOf(records []*Record) Sum {
	s := Sum{Litters: len(records), Lost: map[Cause]int{}}
	for _, r := range records {
		if !r.Kindled.IsZero() {
			s.Kindled++
		}
		if r.Born != nil {
			s.Counted++
			s.Born += *r.Born
		}
		if r.Dead != nil {
			s.Dead += *r.Dead
		}
		if n, counted := r.Alive(r.Weaned, b.rules.Location); counted && !r.Weaned.IsZero() {
			s.Weaned++
			s.Alive += n
		}
		for _, e := range r.Entries {
			if e.What == Lost {
				s.Lost[e.Cause] += *e.Kits
			}
		}
	}
	return s
}
