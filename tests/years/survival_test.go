package main

import (
	"encoding/json"
	"testing"
	"time"

	"nestmon/tests/years/yearstest"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/survival"
)

// bookOf is the book that a story makes.
func bookOf(t *testing.T, s *yearstest.Story, loc *time.Location) *book.Book {
	t.Helper()
	rules := book.Rules{Location: loc, Nests: map[string]brood.Kind{}, Days: litter.DefaultDays()}
	for _, n := range s.Nests {
		rules.Nests[n.ID] = brood.Kind(n.Kind)
	}
	var all []book.Entry
	for _, said := range s.Entries {
		text, err := json.Marshal(said.Entry(loc))
		if err != nil {
			t.Fatal(err)
		}
		var e book.Entry
		if err := json.Unmarshal(text, &e); err != nil {
			t.Fatal(err)
		}
		e.ID, e.Litter, e.Entered = int64(said.Number), int64(said.Litter), s.Days.Begins(loc)
		if e.What == book.Kindled {
			e.Kind = rules.Nests[e.Nest]
		}
		all = append(all, e)
	}
	return book.New(rules, all)
}

// The intervals of survival hold the true chance about as often as they say: 19 times of 20. The chances are those of the generator, the kits of a litter share
// theirs, and the litters are those of two years: twenty rabbitries, by kind of nest, season, nest and doe.
func TestIntervalsHoldTheTruth(t *testing.T) {
	if testing.Short() {
		t.Skip("long, in one goroutine: runs without -short")
	}
	loc, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	type tally struct{ held, all, below int }
	seen := map[survival.Key]*tally{}
	for seed := range uint64(20) {
		s := yearstest.Tell(100+seed, 731, seed%2 == 0, 0)
		b := bookOf(t, s, loc)
		kinds := map[string]string{}
		for _, n := range s.Nests {
			kinds[n.ID] = n.Kind
		}
		for _, key := range []survival.Key{survival.Kind, survival.Season, survival.Nest, survival.Doe} {
			if seen[key] == nil {
				seen[key] = &tally{}
			}
			for _, g := range survival.Measure(b, survival.Ask{By: key, Now: s.Days.Begins(loc)}).Groups {
				for _, f := range g.Days {
					if f.Few || f.Low == nil {
						continue
					}
					chance, kits := 0.0, 0
					for _, l := range s.Litters {
						name := map[survival.Key]string{survival.Kind: kinds[l.Stays[0].Nest], survival.Season: l.Season, survival.Nest: l.Stays[0].Nest, survival.Doe: l.Doe}[key]
						if l.Kindled != yearstest.None && name == g.Name {
							chance, kits = chance+l.Lives(f.Day)*float64(len(l.Kits)), kits+len(l.Kits)
						}
					}
					truth := chance / float64(kits)
					c := seen[key]
					c.all++
					switch {
					case *f.Low <= truth && truth <= *f.High:
						c.held++
					case truth > *f.High:
						c.below++
					}
				}
			}
		}
	}
	for key, c := range seen {
		share := float64(c.held) / float64(c.all)
		t.Logf("by %s: %d of %d intervals hold the truth, %.1f %%; %d lie below it, %d above", key, c.held, c.all, 100*share, c.below, c.all-c.held-c.below)
		const least = 0.90 // of 95 %: the figures of one group are of the same litters, and a group's litters differ in their season
		if c.all < 100 || share < least {
			t.Errorf("by %s: %.3f of %d", key, share, c.all)
		}
	}
}
