package thresholds_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

// quartet is a nest with two cluster probes, lived through.
type quartet struct {
	days                        int
	kind                        brood.Kind
	litters                     []litter.Litter
	first, second, air, outside func(m int) float64
}

// run returns the probes doubted for their drift at the end, and what was told of any fault.
func (q quartet) run(t *testing.T) (drifting []string, events []alarm.Event) {
	t.Helper()
	return q.by(t, func(at time.Time) time.Time { return at })
}

// by does so by a clock that may be wrong.
func (q quartet) by(t *testing.T, clock func(at time.Time) time.Time) (drifting []string, events []alarm.Event) {
	t.Helper()
	second := probes()[0]
	second.ID = "second"
	if q.kind == "" {
		q.kind = brood.WoodenBox
	}
	r := made(t, append(probes(), second), nest.Config{ID: "oak", Kind: q.kind, Cluster: []string{"cluster", "second"}, Air: "air"})
	r.SetLitters(q.litters, start)
	courses := map[string]func(m int) float64{"cluster": q.first, "second": q.second, "air": q.air, "shade": q.outside}
	for half := range q.days * 2880 {
		at := clock(start.Add(time.Duration(half) * 30 * time.Second))
		var batch []sensors.Reading
		for _, id := range []string{"cluster", "second", "air", "shade"} {
			if v := courses[id](half / 2); !math.IsNaN(v) {
				batch = append(batch, sensors.Reading{Probe: id, Time: at, Value: v + dusty(half)})
			}
		}
		for _, e := range r.Observe(at, batch) {
			if e.Name == alarm.ProbeFault {
				events = append(events, e)
			}
		}
	}
	for _, d := range r.Snapshot().Doubts {
		if d.Why == nest.DoubtDrifting {
			drifting = append(drifting, d.Probe)
		}
	}
	slices.Sort(drifting)
	return drifting, events
}

func plus(f func(m int) float64, more func(m int) float64) func(m int) float64 {
	return func(m int) float64 { return f(m) + more(m) }
}

// creeps is a scale that runs away by so many K a day.
func creeps(k float64) func(m int) float64 {
	return func(m int) float64 { return k * float64(m) / 1440 }
}

// Probes that should read alike in a cold nest, and what parts them: a scale that creeps away, and what is none.
func TestDrift(t *testing.T) {
	out, box, straw := weather.through(8, one, zero), weather.lagged(8, 20, 1), weather.lagged(8, 40, 1)
	bred := []litter.Litter{{ID: 1, Nest: "oak", Bred: start.AddDate(0, 0, -15)}}
	over := []litter.Litter{{ID: 1, Nest: "oak", Bred: start.AddDate(0, 0, -70), Kindled: start.AddDate(0, 0, -39), Born: 6, Ended: start.AddDate(0, 0, -2)}}
	pile := func(m int) float64 { return 33 + math.Sin(float64(m)/200) }
	sits := func(from, to int) func(m int) float64 { // a doe beside the probe, each night from an hour to an hour
		return func(m int) float64 {
			if h := (m/60 + start.Hour()) % 24; h >= from && h < to {
				return 5 + math.Sin(float64(m)/50)
			}
			return 0
		}
	}
	always := func(m int) float64 { return 5 + math.Sin(float64(m)/50) }
	floor := func(m int) float64 { return min(out(m), box(m)) }
	cellar, warm := constant(15), func(m int) float64 { return 33 + math.Sin(float64(m)/200)/2 }
	for name, c := range map[string]struct {
		quartet
		want []string
		says string
	}{
		"sound":                           {quartet{4, "", bred, straw, straw, box, out}, nil, ""},
		"the second creeps down":          {quartet{6, "", bred, straw, plus(straw, creeps(-0.6)), box, out}, []string{"second"}, "farther from nest air"},
		"the first creeps up":             {quartet{6, "", bred, plus(straw, creeps(0.6)), straw, box, out}, []string{"cluster"}, "farther from nest air"},
		"in a nest that is over":          {quartet{3, "", over, straw, plus(straw, constant(2)), box, out}, []string{"second"}, "in the empty nest"},
		"not far enough yet":              {quartet{4, "", bred, straw, plus(straw, creeps(0.3)), box, out}, nil, ""},
		"one night":                       {quartet{2, "", bred, straw, plus(straw, until(900, constant(0), constant(3))), box, out}, nil, ""},
		"nest air, which both contradict": {quartet{3, "", bred, straw, straw, plus(box, constant(2.7)), out}, []string{"air"}, "for the cluster probes agree"},
		"one cluster probe and nest air":  {quartet{3, "", bred, plus(straw, constant(2.7)), nothing, box, out}, []string{"air", "cluster"}, "one of them has drifted"},
		"a tote, where nobody can tell":   {quartet{3, brood.BuriedTote, bred, straw, plus(straw, constant(2)), box, out}, []string{"cluster", "second"}, "one of them has drifted"},
		"straw and air of a tote":         {quartet{3, brood.BuriedTote, bred, plus(straw, constant(4)), plus(straw, constant(4)), box, out}, nil, ""},
		"a doe sits at one for hours":     {quartet{3, "", bred, plus(straw, sits(1, 4)), straw, box, out}, nil, ""},
		"a doe lies at one all day":       {quartet{3, "", bred, plus(straw, always), straw, box, out}, nil, ""},
		"no litter entered":               {quartet{3, "", nil, straw, plus(straw, constant(2)), box, out}, nil, ""},
		"kits beside one":                 {quartet{3, "", newborn(3), pile, plus(box, constant(0.5)), box, out}, nil, ""},
		"creeping from live kits":         {quartet{3, "", newborn(3), pile, plus(pile, creeps(-2)), box, out}, nil, ""},
		"kits beside one, under all":      {quartet{3, "", newborn(3), pile, plus(floor, constant(-1.7)), box, out}, []string{"second"}, "nothing in a box is so cold"},
		"both on a cold floor":            {quartet{3, "", newborn(3), plus(floor, constant(-1.7)), plus(floor, constant(-2)), box, out}, nil, ""},
		"two nights, others between": {quartet{6, "", bred, straw, plus(straw, func(m int) float64 {
			if day := (m + 720) / 1440; day == 1 || day == 4 {
				return 3
			}
			return always(m)
		}), box, out}, nil, ""},
		"a tote's floor, away from the kits": {quartet{3, brood.BuriedTote, newborn(3), pile, constant(15), constant(17), plus(out, constant(15))}, nil, ""},
		"kits that nobody entered":           {quartet{3, "", over, warm, cellar, cellar, cellar}, []string{"cluster"}, "kits that nobody entered may lie at cluster"},
		"such kits at the second probe":      {quartet{3, "", over, cellar, warm, cellar, cellar}, []string{"second"}, "kits that nobody entered may lie at second"},
		"such kits at the only probe":        {quartet{3, "", over, warm, nothing, cellar, cellar}, []string{"air", "cluster"}, "kits that nobody entered may lie at cluster"},
		"it half agrees again":               {quartet{5, "", bred, straw, plus(straw, until(3*1440, constant(3), constant(1.3))), box, out}, []string{"second"}, "in the empty nest"},
		"it agrees again":                    {quartet{5, "", bred, straw, plus(straw, until(3*1440, constant(3), constant(0))), box, out}, nil, "in the empty nest"},
		"a swapped probe is no drift":        {quartet{3, "", newborn(3), out, pile, weather.lagged(11, 20, 1), pile}, nil, ""},
	} {
		t.Run(name, func(t *testing.T) {
			drifting, events := c.run(t)
			if !slices.Equal(drifting, c.want) {
				t.Errorf("doubted %v, want %v", drifting, c.want)
			}
			told := 0
			for _, e := range events {
				if strings.Contains(e.Text, "drifted") {
					told++
					if e.Severity != alarm.Notice || !strings.Contains(e.Text, c.says) || !strings.Contains(e.Text, "with ice, in the room of probes") || !strings.Contains(e.Rule, "night") {
						t.Errorf("told %+v, want words with %q", e, c.says)
					}
				}
			}
			if (told > 0) != (c.says != "") || told > 1 {
				t.Errorf("told %d times: %+v", told, events)
			}
			if name == "it agrees again" {
				want(t, events, alarm.ProbeFault, alarm.Cleared, alarm.Notice, 1)
			}
		})
	}
}

// What was told by a clock that ran ahead is over in its time once the clock is set, and is no night of a row.
func TestDriftByAClockThatWasAhead(t *testing.T) {
	out, box, straw := weather.through(8, one, zero), weather.lagged(8, 20, 1), weather.lagged(8, 40, 1)
	const wrong = 2 * 1440 // min
	clock := func(at time.Time) time.Time {
		if at.Before(start.Add(wrong * time.Minute)) {
			return at.AddDate(0, 0, 40)
		}
		return at
	}
	floor := func(m int) float64 { return min(out(m), box(m)) }
	q := quartet{19, "", newborn(3), func(int) float64 { return 33 }, plus(floor, until(wrong, constant(-1.7), constant(1))), box, out}
	if drifting, events := q.by(t, clock); drifting != nil || len(events) != 2 {
		t.Errorf("doubted %v at the end, told %+v", drifting, events)
	}
	bred := []litter.Litter{{ID: 1, Nest: "oak", Bred: start.AddDate(0, 0, -15)}, {ID: 2, Nest: "oak", Bred: start.AddDate(0, 0, 25)}}
	q = quartet{6, "", bred, straw, plus(straw, func(m int) float64 {
		if day := (m + 720) / 1440; day == 1 || day == 4 {
			return 3
		}
		return 5 + math.Sin(float64(m)/50)
	}), box, out}
	if drifting, events := q.by(t, clock); drifting != nil || len(events) > 0 {
		t.Errorf("doubted %v at the end, told %+v", drifting, events)
	}
}

// The floor of a tote is the ground: it may be colder than everything that is measured. Under a box there is no such place.
func TestColderThanAllRoundIt(t *testing.T) {
	out, box := weather.through(8, one, zero), weather.lagged(8, 20, 1)
	under := func(m int) float64 { return min(out(m), box(m)) - 5 }
	for kind, want := range map[brood.Kind]bool{brood.BuriedTote: false, brood.WoodenBox: true} {
		_, events := quartet{2, kind, newborn(3), under, nothing, box, out}.run(t)
		told := slices.ContainsFunc(events, func(e alarm.Event) bool { return strings.Contains(e.Text, "colder than both nest air") })
		if told != want {
			t.Errorf("%s: told %v, want %v: %+v", kind, told, want, events)
		}
	}
}
