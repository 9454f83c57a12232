package main

import (
	"errors"
	"iter"
	"math"
	"strings"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

const day = 24 * time.Hour

// degrees is what a probe of the invented past measured, in °C: a warm pile where kits lie, air that follows outside, a wave every day.
func (b *barn) degrees(i int, at time.Time) float64 {
	wave := math.Sin(2*math.Pi*(float64(at.Unix()%86400)/86400-0.55)) + 0.3*math.Sin(2*math.Pi*float64(at.Unix()%(9*86400))/(9*86400))
	outside := 12 + 6*wave
	switch {
	case i == 0:
		return outside
	case i%2 == 1:
		return 18 + 0.5*outside/2 + float64(i%5)*0.3
	case i/2 == 1 && b.began.Sub(at) < 3*day || i/2 == 2 && b.began.Sub(at) < 12*day:
		return 37.2 + 0.4*wave
	}
	return 19 + 0.5*outside/2
}

// past writes what was measured and entered before today.
func (b *barn) past() (err error) {
	entries, err := b.entries()
	if err != nil {
		return err
	}
	var probes []sensors.Probe
	for _, id := range b.probes() {
		probes = append(probes, sensors.Probe{ID: id, Quantities: []sensors.Quantity{sensors.Temperature}, Interval: 30 * time.Second, StaleAfter: 90 * time.Second})
	}
	a, err := archive.Open(b.dir, archive.Options{Probes: probes, RawFor: time.Duration(max(b.days, 1)) * day})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	if err := a.PutEntries(entries); err != nil {
		return err
	}
	_, err = a.PutOlder(probes, b.polls())
	return err
}

// polls are of every hour, and of every half minute in the newest days. In each night the air of n2 is silent from two to four.
func (b *barn) polls() iter.Seq2[exporter.StoredPoll, error] {
	return func(yield func(exporter.StoredPoll, error) bool) {
		for at := b.began.Add(-time.Duration(b.days) * day).Truncate(time.Hour); at.Before(b.began.Add(-time.Hour)); {
			p := exporter.StoredPoll{Time: at}
			for i, id := range b.probes() {
				if id == "n2-air" && (at.UTC().Hour() == 9 || at.UTC().Hour() == 10) {
					continue
				}
				p.Readings = append(p.Readings, sensors.Reading{Probe: id, Quantity: sensors.Temperature, Time: at, Value: math.Round(b.degrees(i, at)*16) / 16})
			}
			if !yield(p, nil) {
				return
			}
			step := time.Hour
			if b.began.Sub(at) < time.Duration(b.fine)*day {
				step = 30 * time.Second
			}
			at = at.Add(step)
		}
	}
}

func (b *barn) entries() ([]book.Entry, error) {
	zone, err := time.LoadLocation("America/Denver")
	if err != nil {
		return nil, err
	}
	nests := map[string]brood.Kind{}
	for _, id := range b.probes() {
		if nest, found := strings.CutSuffix(id, "-air"); found {
			nests[nest] = brood.WoodenBox
		}
	}
	ago := func(d float64) time.Time { return litter.StartOf(b.began, -int(d), zone) }
	kits := func(n int) *int { return &n }
	entries := []book.Entry{
		{Litter: 1, What: book.Bred, At: ago(34), Day: true, Nest: "n1", Doe: "Hazel", Buck: "Ash"},
		{Litter: 1, What: book.BoxIn, At: ago(6), Day: true, Nest: "n1", Bedding: "straw", Depth: 8},
		{Litter: 1, What: book.Kindled, At: ago(3), Day: true, Nest: "n1", Kits: kits(7), Dead: kits(1)},
		{Litter: 2, What: book.Bred, At: ago(43), Day: true, Nest: "n2", Doe: "Juniper", Buck: "Ash"},
		{Litter: 2, What: book.Kindled, At: ago(12), Day: true, Nest: "n2", Kits: kits(8)},
		{Litter: 2, What: book.Lost, At: ago(10), Day: true, Nest: "n2", Kits: kits(1), Cause: book.Chilled},
		{Litter: 3, What: book.Bred, At: ago(29), Day: true, Nest: "n3", Doe: "Willow", Buck: "Ash"},
	}
	for i := range entries {
		entries[i].By = "keeper"
	}
	_, stored, _, err := book.New(book.Rules{Location: zone, Nests: nests, Days: litter.DefaultDays()}, nil).With(b.began, entries...)
	return stored, err
}
