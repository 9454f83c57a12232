package main

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

// span is a stretch of time, from included, to not.
type span struct{ from, to time.Time }

func (s span) holds(t time.Time) bool { return !t.Before(s.from) && t.Before(s.to) }

func (s span) length() time.Duration { return max(s.to.Sub(s.from), 0) }

// union joins spans that touch, in order.
func union(all []span) []span {
	all = slices.Clone(all)
	slices.SortFunc(all, func(a, b span) int { return a.from.Compare(b.from) })
	var out []span
	for _, s := range all {
		switch n := len(out); {
		case s.length() == 0:
		case n > 0 && !s.from.After(out[n-1].to):
			out[n-1].to = latest(out[n-1].to, s.to)
		default:
			out = append(out, s)
		}
	}
	return out
}

// without returns what of s lies in none of the spans.
func (s span) without(all []span) []span {
	var out []span
	for _, o := range union(all) {
		if !o.to.After(s.from) || !o.from.Before(s.to) {
			continue
		}
		if o.from.After(s.from) {
			out = append(out, span{s.from, o.from})
		}
		s.from = o.to
	}
	if s.length() > 0 {
		out = append(out, s)
	}
	return out
}

// overlap is how much time two sets share; neither overlaps itself.
func overlap(a, b []span) time.Duration {
	var d time.Duration
	for _, x := range a {
		for _, y := range b {
			d += span{latest(x.from, y.from), earliest(x.to, y.to)}.length()
		}
	}
	return d
}

func within(all []span, t time.Time) bool {
	return slices.ContainsFunc(all, func(s span) bool { return s.holds(t) })
}

func total(all []span) (d time.Duration) {
	for _, s := range all {
		d += s.length()
	}
	return d
}

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earliest(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

func days(d float64) time.Duration { return time.Duration(d * float64(day)) }

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

func cosYear(days float64) float64 { return math.Cos(2 * math.Pi * days / 365.25) }
