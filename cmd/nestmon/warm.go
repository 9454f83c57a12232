package main

import (
	"context"
	"slices"
	"time"

	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/sensors/warmed"
)

// How the daemon looks for a warmed probe; ours, no source.
const (
	warmFor  = 10 * time.Minute
	warmRest = 2 * time.Second // of a bus between two readings: a DS18B20 alone on it converts for a third of the time
	mostMet  = 20              // probes that were named are shown
)

// warming is the search for the probe that somebody holds.
type warming struct {
	began  time.Time
	ended  bool
	learns bool // nobody may have touched a probe yet
	probes []string
	apart  []string // probes that are not watched
	watch  *warmed.Watch
	at     []warmPoint // of each probe
	found  []web.Found
}

type warmPoint struct {
	start  float64 // °C, the middle of its first readings
	first  []float64
	value  float64
	when   time.Time // of the newest value
	told   time.Time // when it was last read, with or without a value
	gap    time.Duration
	failed int
}

var _ job = (*warming)(nil)

// Warm implements web.Bench.
func (b *workbench) Warm(context.Context) error {
	if b.Doing() == "warm" {
		return nil // a second page joins
	}
	return b.begin(func() job {
		w := &warming{began: b.d.pace.Now(), learns: true}
		for i := range b.d.cfg.Probes {
			if p := &b.d.cfg.Probes[i]; b.watched(p) {
				w.probes = append(w.probes, p.ID)
			} else if p.probe(b.d.cfg).Measures(sensors.Temperature) {
				w.apart = append(w.apart, p.ID)
			}
		}
		w.watch, w.at = warmed.New(len(w.probes)), make([]warmPoint, len(w.probes))
		return w
	})
}

func (w *warming) name() string        { return "warm" }
func (w *warming) rest() time.Duration { return warmRest }
func (w *warming) end()                { w.ended = true }
func (w *warming) over() bool          { return w.ended }
func (w *warming) lonely() bool        { return true }

func (w *warming) take(now time.Time, readings []sensors.Reading) {
	for _, r := range readings {
		i := slices.Index(w.probes, r.Probe)
		if i < 0 || r.Quantity != sensors.Temperature {
			continue
		}
		at := &w.at[i]
		when := r.Time
		if when.IsZero() || when.Before(at.told) {
			when = now
		}
		if !at.told.IsZero() {
			at.gap = when.Sub(at.told)
		}
		at.told = when
		if !r.OK() {
			at.failed++
			w.watch.Fail(i, when)
			continue
		}
		at.value, at.when, at.failed = r.Value, when, 0
		w.watch.Add(i, when, r.Value)
		if w.learns || len(at.first) == 0 {
			at.first = append(at.first, r.Value)
			sorted := slices.Sorted(slices.Values(at.first))
			at.start = sorted[len(sorted)/2]
		}
	}
	w.meet(now)
}

func (w *warming) step(now time.Time) {
	if now.Sub(w.began) >= warmFor {
		w.end()
	}
	w.meet(now)
}

// meet notes a probe that is named, and goes on to look for the next.
func (w *warming) meet(now time.Time) {
	v := w.watch.Verdict(now)
	w.learns = v.State == warmed.Learning
	if v.State != warmed.Named {
		return
	}
	f := web.Found{Probe: w.probes[v.Probe], At: now, Rise: v.Rise, Sure: string(sureOf(v.Sure()))}
	if v.Other >= 0 {
		f.Other, f.Next = &w.probes[v.Other], v.Second
	}
	w.found = append([]web.Found{f}, w.found...)
	w.found = w.found[:min(len(w.found), mostMet)]
	w.watch.Release(v.Probe)
}

// warmStates are the names of warmed.State on the wire.
var warmStates = [...]string{warmed.Learning: "learning", warmed.Waiting: "waiting", warmed.Rising: "rising", warmed.Several: "several", warmed.Named: "named"}

func (w *warming) show(now time.Time, to *web.Work) {
	v := w.watch.Verdict(now)
	s := &web.Warm{
		State: warmStates[v.State], Left: max(warmFor-now.Sub(w.began), 0).Seconds(), Bars: []web.Bar{}, Found: append([]web.Found{}, w.found...), Apart: append([]string{}, w.apart...),
	}
	if v.Probe >= 0 {
		s.Probe, s.Rise = &w.probes[v.Probe], v.Rise
	}
	if v.Other >= 0 {
		s.Other, s.Second = &w.probes[v.Other], v.Second
	}
	for i, id := range w.probes {
		at := &w.at[i]
		bar := web.Bar{Probe: id, Blind: slices.Contains(v.Blind, i)}
		if !at.when.IsZero() {
			value, rise, age := at.value, at.value-at.start, max(now.Sub(at.when), 0).Seconds() // copies: what is shown is written down later
			bar.Value, bar.Rise, bar.Age = &value, &rise, &age
		}
		s.Bars = append(s.Bars, bar)
		s.Round = max(s.Round, at.gap.Seconds())
	}
	to.Warm = s
}
