// Package held tells what nests held over the air outside: by how much warmer they were, hour by hour and in which month, while kits lay in
// them, by bedding, and while they were empty.
//
// An hour counts where nest air and outside both have a mean. The hours of a day on which kits came or left, bedding was changed or the nest
// was carried count for nothing, since the book knows days better than hours; so do those in which the nest was indoors, and those of kits
// older than four weeks, which lie outside the nest as often as in it, and of a doe that may have kindled while nobody wrote whether she did. What
// a nest held with kits in it is theirs too: they are its stove.
package held

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Over is a difference of temperature, above zero where the nest was warmer. It has no freezing point: a degree is 1.8 °F.
type Over struct {
	C float64 `json:"c"`
	F float64 `json:"f"`
}

func over(c float64) Over { return Over{C: c, F: c * 1.8} }

// Row is what a nest held in one month of the year, over all years.
type Row struct {
	Nest    string     `json:"nest"`
	Month   time.Month `json:"month"`
	Kits    bool       `json:"kits"`    // lay in it
	Bedding string     `json:"bedding"` // under the kits, empty where nobody wrote it down
	Depth   float64    `json:"depth_cm"`
	Hours   int        `json:"hours"`
	Litters int        `json:"litters"`
	Mean    Over       `json:"mean"`
	Low     Over       `json:"low"` // 5 % of the hours lie below
	High    Over       `json:"high"`
}

// Of the hours 5 % lie below a row's Low, and 5 % above its High.
const tail = 0.05

// Tally gathers hours. Make one with New.
type Tally struct {
	loc   *time.Location
	nests [][]span
	at    []int // the span of each nest that the last hour fell in or before
	rows  map[key]*row
	until int64 // unix seconds: the month's end
	month time.Month
}

// span is a time in which a nest's hours count.
type span struct {
	from, until int64 // unix seconds
	key         key
	litter      int64
	now         *row // of the month that is now
}

type key struct {
	nest, bedding string
	depth         float64
	kits          bool
	month         time.Month
}

type row struct {
	hours   []float32
	litters map[int64]bool
}

// New makes a tally of nests; Add gives their air in this order.
func New(b *book.Book, nests []string) *Tally {
	t := &Tally{loc: b.Rules().Location, at: make([]int, len(nests)), rows: map[key]*row{}}
	for _, nest := range nests {
		var spans []span
		for _, bed := range b.Beds(nest) {
			if s, ok := t.span(b, nest, bed); ok {
				spans = append(spans, t.sure(b, s)...)
			}
		}
		t.nests = append(t.nests, spans)
	}
	return t
}

// span is the whole days of a bed.
func (t *Tally) span(b *book.Book, nest string, bed book.Bed) (span, bool) {
	days := b.Rules().Days
	s := span{from: litter.NextDay(bed.From, t.loc).Unix(), until: math.MaxInt64, litter: bed.Litter}
	if !bed.Until.IsZero() {
		s.until = t.day(bed.Until, 0)
	}
	s.key = key{nest: nest}
	if bed.Litter != 0 {
		s.key = key{nest: nest, kits: true, bedding: bed.Bedding, depth: math.Round(bed.Depth)}
		s.until = min(s.until, t.day(b.Record(bed.Litter).Kindled, days.BoxOutDay(brood.Mild)+1))
	}
	return s, !bed.Indoors && s.from < s.until
}

// sure is what is left of a span in which a nest was empty by the book, without the time in which it may have held kits whose birth nobody entered.
func (t *Tally) sure(b *book.Book, s span) []span {
	left := []span{s}
	for _, r := range b.Records() {
		if s.litter != 0 || r.Failed || r.Bred.IsZero() || !r.Kindled.IsZero() {
			continue
		}
		for _, stay := range r.Stays {
			if stay.Nest != s.key.nest {
				continue
			}
			from, until := max(t.day(r.Bred, litter.EarliestKindling), stay.From.Unix()), int64(math.MaxInt64)
			if !stay.Until.IsZero() {
				until = litter.NextDay(stay.Until, t.loc).Unix()
			}
			var rest []span
			for _, s := range left {
				before, after := s, s
				before.until, after.from = min(s.until, from), max(s.from, until)
				for _, s := range []span{before, after} {
					if s.from < s.until {
						rest = append(rest, s)
					}
				}
			}
			if from < until {
				left = rest
			}
		}
	}
	return left
}

// day is the first second of a date.
func (t *Tally) day(at time.Time, later int) int64 {
	return litter.StartOf(at, later, t.loc).Unix()
}

// Add takes one hour's means, in °C and NaN where there was none. Hours come in order.
func (t *Tally) Add(hour time.Time, outside float64, air []float64) {
	at := hour.Unix()
	turned := at >= t.until
	if turned {
		local := hour.In(t.loc)
		t.month = local.Month()
		t.until = time.Date(local.Year(), t.month+1, 1, 0, 0, 0, 0, t.loc).Unix()
	}
	for i, spans := range t.nests {
		if turned {
			for j := range spans {
				spans[j].now = nil
			}
		}
		for t.at[i] < len(spans) && spans[t.at[i]].until <= at {
			t.at[i]++
		}
		if t.at[i] == len(spans) || at < spans[t.at[i]].from {
			continue
		}
		if d := air[i] - outside; !math.IsNaN(d) {
			t.row(&spans[t.at[i]]).add(d)
		}
	}
}

func (r *row) add(d float64) { r.hours = append(r.hours, float32(d)) }

func (t *Tally) row(s *span) *row {
	if s.now != nil {
		return s.now
	}
	k := s.key
	k.month = t.month
	if t.rows[k] == nil {
		t.rows[k] = &row{litters: map[int64]bool{}}
	}
	s.now = t.rows[k]
	if s.litter != 0 {
		s.now.litters[s.litter] = true
	}
	return s.now
}

// Rows tells what was gathered, by nest and month, with kits before empty.
func (t *Tally) Rows() []Row {
	out := []Row{}
	for k, r := range t.rows {
		sum := 0.0
		for _, d := range r.hours {
			sum += float64(d)
		}
		out = append(out, Row{
			Nest: k.nest, Month: k.month, Kits: k.kits, Bedding: k.bedding, Depth: k.depth, Hours: len(r.hours), Litters: len(r.litters),
			Mean: over(sum / float64(len(r.hours))), Low: over(quantile(r.hours, tail)), High: over(quantile(r.hours, 1-tail)),
		})
	}
	slices.SortFunc(out, func(a, b Row) int {
		return cmp.Or(cmp.Compare(a.Nest, b.Nest), cmp.Compare(a.Month, b.Month), empty(a)-empty(b), cmp.Compare(strings.ToLower(a.Bedding), strings.ToLower(b.Bedding)), cmp.Compare(a.Depth, b.Depth))
	})
	return out
}

func empty(r Row) int {
	if r.Kits {
		return 0
	}
	return 1
}

// quantile is the value below which p of the values lie, between two of them in proportion (type 7 of R's quantile). It moves them.
func quantile(v []float32, p float64) float64 {
	at := p * float64(len(v)-1)
	i := int(at)
	low := float64(nth(v, i))
	if i+1 >= len(v) {
		return low
	}
	high := float64(slices.Min(v[i+1:]))
	return low + (at-float64(i))*(high-low)
}

// nth is the value that would stand at k if they were sorted, which for half a million hours takes longer than all else. It puts it there, what is less
// before it and what is more behind (Hoare, Algorithm 65, Communications of the ACM 4, 1961, from memory).
func nth(v []float32, k int) float32 {
	for first, last := 0, len(v)-1; first < last; {
		pivot, i, j := v[first+(last-first)/2], first, last
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			last = j
		case k >= i:
			first = i
		default:
			return v[k]
		}
	}
	return v[k]
}
