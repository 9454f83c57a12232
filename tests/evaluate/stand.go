package main

import (
	"slices"
	"time"

	"nestmon/thresholds/alarm"
)

// merged is the time within which an alarm that comes again is the same alarm.
const merged = 30 * time.Minute

// rise is an alarm's beginning, or its growing worse.
type rise struct {
	at       time.Time
	severity alarm.Severity
}

// stand is one alarm from its beginning to its end.
type stand struct {
	span
	rises []rise
}

// standing makes stands of a nest's events with one of the names, as seen by someone who ignores everything below least. An
// alarm that grows milder is taken to stand at its worst until it clears, because nothing tells when it did.
func standing(events []alarm.Event, end time.Time, least alarm.Severity, names ...alarm.Name) []stand {
	var all []stand
	for _, name := range names {
		on := false
		for _, e := range events {
			if e.Name != name || e.Nest != placeOf(name) {
				continue
			}
			switch {
			case e.State == alarm.Raised && e.Severity >= least:
				if !on {
					on = true
					all = append(all, stand{span: span{e.Time, end}})
				}
				s := &all[len(all)-1]
				s.rises = append(s.rises, rise{e.Time, e.Severity})
			case e.State == alarm.Cleared && on:
				on = false
				all[len(all)-1].to = e.Time
			}
		}
	}
	return join(all)
}

// placeOf is the nest, or none for what the weather does to all does.
func placeOf(name alarm.Name) string {
	if name == alarm.DoeHeat || name == alarm.DoeCold {
		return ""
	}
	return nestID
}

// join merges stands that overlap or follow within the merging time.
func join(all []stand) []stand {
	slices.SortStableFunc(all, func(a, b stand) int { return a.from.Compare(b.from) })
	var out []stand
	for _, s := range all {
		if n := len(out); n > 0 && s.from.Sub(out[n-1].to) <= merged {
			last := &out[n-1]
			last.to = latest(last.to, s.to)
			last.rises = append(last.rises, s.rises...)
			continue
		}
		out = append(out, s)
	}
	return out
}

func spans(all []stand) []span {
	out := make([]span, len(all))
	for i, s := range all {
		out[i] = s.span
	}
	return out
}
