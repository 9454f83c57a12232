package review

import (
	"slices"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Span is a time for which kits lay in one nest.
type Span struct {
	Nest        string
	Kind        brood.Kind // empty where nobody wrote it down
	From, Until time.Time
	BoxOut      bool // it ended by taking the box out

	Probes
	first, last time.Time // the whole hours that are judged: [first, last)
}

// Watched reports whether the nest has any probe.
func (s Span) Watched() bool { return s.Cluster || s.Air }

func (s Span) holds(t time.Time) bool { return !t.Before(s.From) && t.Before(s.Until) }

// spans finds where kits lay, one after the other, up to the end of what is known.
func (r *Review) spans(in *Input) {
	rec := in.Record
	for _, st := range rec.Stays {
		from, until := later(st.From, rec.Kindled), st.Until
		if until.IsZero() {
			until = r.Until
		}
		if !from.Before(until) || st.Nest == "" {
			continue
		}
		s := Span{Nest: st.Nest, Kind: st.Kind, From: from, Until: until, Probes: in.Probes[st.Nest]}
		for _, e := range in.Entries {
			if e.Chore == alarm.RemoveBoxDue && e.Nest == s.Nest && s.holds(e.At) {
				s.Until, s.BoxOut = e.At, true
			}
		}
		s.first, s.last = wholeHour(in.begins(s.From), true), wholeHour(s.Until, false)
		if s.last.Before(s.first) {
			s.last = s.first
		}
		r.Spans = append(r.Spans, s)
	}
}

// begins is from when on hours can be judged where something began at that time. Of a birth of which only the day is known the hour may have
// been seen; else the day is left out.
func (in *Input) begins(at time.Time) time.Time {
	dayOnly := func(e book.Entry) bool { return e.Day && e.At.Equal(at) }
	if !slices.ContainsFunc(in.Record.Entries, dayOnly) {
		return at
	}
	for _, e := range in.Events {
		if e.Name == alarm.Kindled && at.Equal(in.Record.Kindled) && e.Nest == in.nestAt(at) && litter.Day(at, e.Since, in.Location) == 0 {
			return e.Since
		}
	}
	return litter.NextDay(at, in.Location)
}

func wholeHour(t time.Time, up bool) time.Time {
	h := t.UTC().Truncate(hour)
	if up && h.Before(t) {
		h = h.Add(hour)
	}
	return h
}

func later(a, b time.Time) time.Time {
	if a.Before(b) {
		return b
	}
	return a
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// at finds the span a time falls in.
func (r *Review) at(nest string, t time.Time) (Span, bool) {
	for _, s := range r.Spans {
		if s.Nest == nest && s.holds(t) {
			return s, true
		}
	}
	return Span{}, false
}

// nestAt is the nest in which the litter lay at a time.
func (in *Input) nestAt(t time.Time) string {
	nest := ""
	for _, s := range in.Record.Stays {
		if !s.From.After(t) {
			nest = s.Nest
		}
	}
	return nest
}
