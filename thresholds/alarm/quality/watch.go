package quality

import (
	"slices"
	"time"
)

const week = 7 * 24 * time.Hour

// watched is how many weeks of the span each nest had readings in.
func (in *Input) watched() map[string]float64 {
	weeks := map[string]float64{}
	for _, nest := range in.Nests {
		weeks[nest] = max(in.To.Sub(in.From)-in.blind(nest, in.From, in.To), 0).Hours() / week.Hours()
	}
	return weeks
}

// blind is for how long of that span a nest had no reading.
func (in *Input) blind(nest string, from, to time.Time) (sum time.Duration) {
	for _, b := range in.Blind {
		if b.Nest == nest {
			sum += overlap(b.From, b.To, from, to)
		}
	}
	return sum
}

func overlap(a, b, from, to time.Time) time.Duration {
	if a.Before(from) {
		a = from
	}
	if b.After(to) {
		b = to
	}
	return max(b.Sub(a), 0)
}

// notJudged lists the days of which nothing can be said of some nest.
func (in *Input) notJudged() (all []Day) {
	if len(in.Blind) == 0 {
		return nil
	}
	for day := midnight(in.From, in.location()); day.Before(in.To); day = day.AddDate(0, 0, 1) {
		d := Day{Date: day}
		for _, nest := range in.Nests {
			if in.blind(nest, later(day, in.From), earlier(day.AddDate(0, 0, 1), in.To)) > blindDay {
				d.Nests = append(d.Nests, nest)
			}
		}
		if len(d.Nests) > 0 {
			all = append(all, d)
		}
	}
	return all
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

func midnight(t time.Time, loc *time.Location) time.Time {
	y, m, d := t.In(loc).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, loc)
}

// worstDay is the most of the times that lie on one local day.
func worstDay(times []time.Time, loc *time.Location) (worst int) {
	n := map[time.Time]int{}
	for _, t := range times {
		day := midnight(t, loc)
		n[day]++
		worst = max(worst, n[day])
	}
	return worst
}

// Heard notes in which hours each nest had a reading, and finds the stretches in which it had none. The zero Heard has heard nothing.
type Heard struct {
	hours map[string][]time.Time // by nest, in order
}

// Hear notes a reading of a nest. Times come in order.
func (h *Heard) Hear(nest string, t time.Time) {
	hour := t.Truncate(time.Hour)
	if h.hours == nil {
		h.hours = map[string][]time.Time{}
	}
	if all := h.hours[nest]; len(all) == 0 || hour.After(all[len(all)-1]) {
		h.hours[nest] = append(all, hour)
	}
}

// Blind lists the stretches between from and to in which a nest was not heard for a whole hour of the clock or more.
func (h *Heard) Blind(nests []string, from, to time.Time) (all []Blind) {
	for _, nest := range nests {
		at := from
		for _, hour := range append(slices.Clone(h.hours[nest]), to) {
			end := earlier(hour, to)
			if end.Sub(at) >= time.Hour {
				all = append(all, Blind{nest, at, end})
			}
			at = later(at, hour.Add(time.Hour))
		}
	}
	return all
}
