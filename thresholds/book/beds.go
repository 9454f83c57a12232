package book

import (
	"cmp"
	"slices"
	"time"

	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Bed is a nest over a time in which nothing about it changed: what it was bedded with, what it was, and whose kits lay in it.
type Bed struct {
	From, Until time.Time // Until is zero while it is so
	Litter      int64     // whose kits, 0 where none lay there
	Bedding     string    // empty where nobody wrote it down
	Depth       float64   // cm
	Kind        brood.Kind
	Indoors     bool // carried indoors for the night
}

// Beds returns what a nest was from the first entry about it on, in order. Bedding holds from the day it was written for until the next
// litter that lies in it leaves, or until other bedding is written down. A litter has a bed even where it came and went on one day.
func (b *Book) Beds(nest string) []Bed {
	var out []Bed
	now := Bed{}
	for _, c := range b.changes(nest) {
		was := now
		if c.apply(&now); now == was && !was.From.IsZero() {
			continue
		}
		shown := func(bed Bed) bool { return bed.Litter == was.Litter }
		if !was.From.IsZero() && (was.From.Before(c.at) || was.Litter != 0 && !slices.ContainsFunc(out, shown)) {
			was.Until = c.at
			out = append(out, was)
		}
		now.From = c.at
	}
	if !now.From.IsZero() {
		out = append(out, now)
	}
	return out
}

// change is something that makes another bed of a nest.
type change struct {
	day, turn int // within one day: kits leave, entries are made, kits come, kits that came leave
	at        time.Time
	apply     func(*Bed)
}

const (
	before = iota
	written
	come
	gone
)

// changes lists what happened to a nest, in order.
func (b *Book) changes(nest string) []change {
	day := func(t time.Time) int { return litter.Day(time.Time{}, t, b.rules.Location) }
	var out []change
	for _, r := range b.records {
		for _, s := range r.Stays {
			from, until := r.kits(s)
			if s.Nest != nest || from.IsZero() {
				continue
			}
			out = append(out, change{day(from), come, from, func(bed *Bed) { bed.Litter = r.ID }})
			if until.IsZero() {
				continue
			}
			turn := before
			if day(until) == day(from) {
				turn = gone
			}
			out = append(out, change{day(until), turn, until, func(bed *Bed) {
				if bed.Litter == r.ID {
					bed.Litter, bed.Bedding, bed.Depth = 0, "", 0
				}
			}})
		}
	}
	for _, e := range b.Nest(nest) {
		if e.What == Moved && e.To != nest || e.What == Collected || e.What == CarriedIn || e.What == CarriedOut {
			continue
		}
		out = append(out, change{day(e.At), written, e.At, e.beds})
	}
	for _, e := range b.carried(nest)[nest] {
		out = append(out, change{day(e.At), written, e.At, e.beds})
	}
	slices.SortStableFunc(out, func(a, c change) int { return cmp.Or(a.day-c.day, a.turn-c.turn) })
	return out
}

// beds is what an entry makes of a bed.
func (e Entry) beds(bed *Bed) {
	if e.Bedding != "" && e.Bedding != bed.Bedding {
		bed.Bedding, bed.Depth = e.Bedding, 0
	}
	bed.Depth, bed.Kind = cmp.Or(e.Depth, bed.Depth), cmp.Or(e.Kind, bed.Kind)
	bed.Indoors = e.What == CarriedIn || bed.Indoors && e.What != CarriedOut
}

// carried is when nests were carried in and out, by nest and as it happened; of one alone where it is named. Of an entry that gives only the day
// nobody knows whether it came before or after those of that day that give their hour: it came after where it would change nothing before, or was
// written after them.
func (b *Book) carried(nest string) map[string][]Entry {
	all := map[string][]Entry{}
	for _, e := range b.entries {
		if (e.What == CarriedIn || e.What == CarriedOut) && (nest == "" || e.Nest == nest) && b.gone[e.ID] == 0 {
			all[e.Nest] = append(all[e.Nest], *e)
		}
	}
	for _, entries := range all {
		slices.SortStableFunc(entries, func(a, c Entry) int { return a.At.Compare(c.At) })
		in := false
		for rest := entries; len(rest) > 0; {
			day := rest
			for i := range rest {
				if litter.Day(rest[0].At, rest[i].At, b.rules.Location) != 0 {
					day = rest[:i]
					break
				}
			}
			rest = rest[len(day):]
			if first, last := day[0], day[len(day)-1]; first.Day && !last.Day && (in == (first.What == CarriedIn) || b.written(first) > b.written(last)) {
				copy(day, day[1:])
				first.At = last.At
				day[len(day)-1] = first
			}
			in = day[len(day)-1].What == CarriedIn
		}
	}
	return all
}

// written is the number of the entry that was corrected into this one.
func (b *Book) written(e Entry) int64 {
	for e.Replaces != 0 {
		old, ok := b.Entry(e.Replaces)
		if !ok {
			break
		}
		e = old
	}
	return e.ID
}
