package thresholds_test

import (
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

// every is a rabbitry that is polled at another pace.
func every(t testing.TB, interval time.Duration) *thresholds.Rabbitry {
	t.Helper()
	ps := probes()
	for i := range ps {
		ps[i].Interval, ps[i].StaleAfter = interval, sensors.DefaultStaleAfter(interval)
	}
	return made(t, ps, nest.Config{ID: "oak", Kind: brood.WoodenBox, Cluster: []string{"cluster"}, Air: "air"})
}

// pair is a rabbitry whose nest has two cluster probes.
func pair(t testing.TB) *thresholds.Rabbitry {
	t.Helper()
	second := probes()[0]
	second.ID = "cluster-2"
	return made(t, append(probes(), second), nest.Config{ID: "oak", Kind: brood.WoodenBox, Cluster: []string{"cluster", "cluster-2"}, Air: "air"})
}

func made(t testing.TB, ps []sensors.Probe, nests ...nest.Config) *thresholds.Rabbitry {
	t.Helper()
	r, err := thresholds.New(thresholds.Config{
		Location: time.UTC, Poll: ps[0].Interval, Outside: "shade", Probes: ps, Limits: brood.DefaultTables(), Nests: nests,
	})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// A doe that was bred again still has the kits she has.
func TestKitsOutrankTheNextBreeding(t *testing.T) {
	kits := litter.Litter{ID: 1, Nest: "oak", Bred: start.AddDate(0, 0, -45), Kindled: start.AddDate(0, 0, -14), Born: 8}
	next := litter.Litter{ID: 2, Nest: "oak", Bred: start.AddDate(0, 0, -2)}
	gone, old, both, guests, grown := kits, kits, kits, kits, kits
	grown.Bred, grown.Kindled = start.AddDate(0, 0, -64), start.AddDate(0, 0, -33)
	before := litter.Litter{ID: 2, Nest: "oak", Kindled: start.AddDate(0, 0, -74), Since: grown.Bred, Ended: start.AddDate(0, 0, -40)}
	guests.Since, guests.Ended = start.AddDate(0, 0, -1), start.Add(-time.Hour)
	gone.Ended = start.Add(-time.Hour)
	old.Bred, old.Kindled = start.AddDate(0, 0, -61), start.AddDate(0, 0, -30)
	both.Kindled = start.AddDate(0, 0, -28)
	for name, c := range map[string]struct {
		book []litter.Litter
		days int
		want int64
	}{
		"kits of two weeks":        {[]litter.Litter{kits, next}, 0, 1},
		"the book the other way":   {[]litter.Litter{next, kits}, 0, 1},
		"kits gone":                {[]litter.Litter{gone, next}, 0, 2},
		"guests went before kits":  {[]litter.Litter{before, grown}, 0, 1},
		"guests came and went":     {[]litter.Litter{guests, next}, 0, 2},
		"kits grown up":            {[]litter.Litter{old, next}, 0, 2},
		"kits that grow up":        {[]litter.Litter{both, next}, 1, 2},
		"bred again while we wait": {[]litter.Litter{kits, {ID: 3, Nest: "oak", Bred: start.Add(12 * time.Hour)}}, 1, 1},
	} {
		t.Run(name, func(t *testing.T) {
			r := rabbitry(t, brood.WoodenBox)
			r.SetLitters(c.book, start)
			for m := range c.days*24*60 + 10 {
				r.Observe(start.Add(time.Duration(m)*time.Minute), nil)
			}
			if got := r.Snapshot().Nests[0].Litter.ID; got != c.want {
				t.Errorf("litter %d counts, want %d", got, c.want)
			}
		})
	}
}

// A book that knows how it ends, as a replay's does, asks for the chores of each day as one that does not.
func TestChoresOfABookThatKnowsTheEnd(t *testing.T) {
	whole := litter.Litter{ID: 1, Nest: "oak", Bred: start.AddDate(0, 0, -27), Kindled: start.AddDate(0, 0, 4), Ended: start.AddDate(0, 0, 36)}
	_, events := trace{minutes: 60, litters: []litter.Litter{whole}, outside: constant(12)}.run(t)
	want(t, events, alarm.BoxDue, alarm.Raised, alarm.Notice, 1)
}

// Only the keeper's word that the nest is empty makes its heat a notice.
func TestHeatOfAnEmptyNest(t *testing.T) {
	ended := newborn(20)
	ended[0].Ended = start.AddDate(0, 0, -1)
	for name, c := range map[string]struct {
		litters []litter.Litter
		urgent  int
	}{"ended": {ended, 0}, "nothing entered": {nil, 1}} {
		t.Run(name, func(t *testing.T) {
			_, events := trace{minutes: 60, litters: c.litters, air: constant(36), cluster: nothing, outside: constant(20)}.run(t)
			want(t, events, alarm.NestHeat, alarm.Raised, alarm.Urgent, c.urgent)
			if got := count(events, alarm.NestHeat, alarm.Raised, alarm.Notice); got == 0 {
				t.Error("the heat is not told at all")
			}
		})
	}
}

// An index is told where humidity makes one. Where it is not known the air is taken as damp, and the words say so in degrees.
func TestDoeHeatSaysWhatItCompared(t *testing.T) {
	for name, c := range map[string]struct {
		humidity bool
		unit     string
		words    string
	}{"humidity known": {true, "", "heat index of"}, "humidity not known": {false, "C", "may be damp"}} {
		t.Run(name, func(t *testing.T) {
			r := rabbitry(t, brood.WoodenBox)
			var events []alarm.Event
			for half := range 120 {
				at := start.Add(time.Duration(half) * 30 * time.Second)
				batch := []sensors.Reading{{Probe: "shade", Time: at, Value: 34}}
				if c.humidity {
					batch = append(batch, sensors.Reading{Probe: "shade", Quantity: sensors.Humidity, Time: at, Value: 60})
				}
				events = append(events, r.Observe(at, batch)...)
			}
			want(t, events, alarm.DoeHeat, alarm.Raised, alarm.Urgent, 1)
			for _, e := range events {
				if e.Name == alarm.DoeHeat && (e.Unit != c.unit || !strings.Contains(e.Text, c.words)) {
					t.Errorf("unit %q, %q; want unit %q and %q", e.Unit, e.Text, c.unit, c.words)
				}
			}
		})
	}
}
