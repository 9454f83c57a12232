package thresholds_test

import (
	"fmt"
	"math"
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

// air is what a probe in air reads.
type air struct{ t, rh float64 }

// holding is air of t °C that holds so many g/m³ of water. The relation is WMO's, as the reference tables give it: 611.2 Pa ·
// exp(17.62 t / (243.12 + t)), and 2.16679 g·K/J to density.
func holding(t, gramsPerM3 float64) air {
	full := 2.16679 * 611.2 * math.Exp(17.62*t/(243.12+t)) / (t + 273.15)
	return air{t, 100 * gramsPerM3 / full}
}

// damp is an invented course of a nest's and the outside air, a reading a minute; an outside humidity of 0 is not measured.
type damp struct {
	nest    nest.Config
	age     int // of eight kits at the start; -1 for none entered
	hours   int
	air     func(h float64) air
	outside func(h float64) air
}

func calm(t, rh float64) func(float64) air { return func(float64) air { return air{t, rh} } }

func (d damp) start(t *testing.T) *thresholds.Rabbitry {
	t.Helper()
	ps := probes()
	for i := range ps {
		ps[i].Interval, ps[i].StaleAfter = time.Minute, 3*time.Minute
	}
	if d.nest.Kind == "" {
		d.nest.Kind = brood.WoodenBox
	}
	d.nest.ID, d.nest.Air = "oak", "air"
	r := made(t, ps, d.nest)
	if d.age >= 0 {
		r.SetLitters(newborn(d.age), start)
	}
	return r
}

// through runs the course from an hour on.
func (d damp) through(r *thresholds.Rabbitry, from int) (events []alarm.Event) {
	for m := from * 60; m < (from+d.hours)*60; m++ {
		at, h := start.Add(time.Duration(m)*time.Minute), float64(m)/60
		in, out := d.air(h), d.outside(h)
		in.t, in.rh = in.t+dusty(m), in.rh+dusty(m+1)/10
		batch := []sensors.Reading{
			{Probe: "air", Time: at, Value: in.t},
			{Probe: "air", Quantity: sensors.Humidity, Time: at, Value: min(in.rh, 100)},
			{Probe: "shade", Time: at, Value: out.t + dusty(m+2)},
		}
		if out.rh > 0 {
			batch = append(batch, sensors.Reading{Probe: "shade", Quantity: sensors.Humidity, Time: at, Value: out.rh})
		}
		events = append(events, r.Observe(at, batch)...)
	}
	return events
}

func (d damp) run(t *testing.T) (*thresholds.Rabbitry, []alarm.Event) {
	t.Helper()
	r := d.start(t)
	return r, d.through(r, 0)
}

func judged(r *thresholds.Rabbitry, danger string) thresholds.Judgement {
	for _, j := range r.Snapshot().Nests[0].Judged {
		if j.Danger == danger {
			return j
		}
	}
	return thresholds.Judgement{Why: "nothing is said of " + danger}
}

// first is when an alarm was first raised, in hours.
func first(events []alarm.Event, name alarm.Name) (h float64, e alarm.Event) {
	for _, e := range events {
		if e.Name == name && e.State == alarm.Raised {
			return e.Time.Sub(start).Hours(), e
		}
	}
	return math.Inf(1), alarm.Event{}
}

// A probe latched at 100 % in a freeze says nothing: no bedding, no ventilation, no wet tote, and that this is so is said.
func TestLatchedHumidityInAFreezeGivesNoVerdict(t *testing.T) {
	for _, kind := range brood.Kinds {
		t.Run(string(kind), func(t *testing.T) {
			r, events := damp{nest: nest.Config{Kind: kind}, age: 5, hours: 80, air: calm(-13, 100), outside: calm(-15, 80)}.run(t)
			for _, name := range []alarm.Name{alarm.BeddingDue, alarm.VentilationDue, alarm.ToteWet} {
				want(t, events, name, alarm.Raised, alarm.Notice, 0)
			}
			if j := judged(r, "damp"); j.Judged || !strings.Contains(j.Why, "10.0 °C (50.0 °F)") {
				t.Errorf("damp: %+v", j)
			}
		})
	}
}

func TestDampSaysWhatItCannotJudge(t *testing.T) {
	for name, c := range map[string]struct {
		in   air
		want string // empty where it is judged
	}{
		"dry enough":             {air{20, 70}, ""},
		"just above the limit":   {air{10.2, 80}, ""},
		"just below":             {air{9.8, 80}, "too little water"},
		"saturated":              {air{15, 100}, "saturated"},
		"freezing and saturated": {air{-5, 100}, "too little water"},
	} {
		t.Run(name, func(t *testing.T) {
			r, _ := damp{age: 5, hours: 1, air: calm(c.in.t, c.in.rh), outside: calm(c.in.t-3, 60)}.run(t)
			if j := judged(r, "damp"); j.Judged != (c.want == "") || !strings.Contains(j.Why, c.want) {
				t.Errorf("%+v, want %q", j, c.want)
			}
		})
	}
	r, _ := trace{minutes: 10, air: nil, outside: constant(10)}.run(t)
	if j := judged(r, "damp"); j.Judged || j.Why == "" {
		t.Errorf("without a reading: %+v", j)
	}
}

// A nest holds 3 g/m³ more than outside air by day and 2 by night, until from hour 78 its vents are blocked.
func TestMoistureThatIsNew(t *testing.T) {
	usual := func(h float64) float64 { return 2.5 + 0.5*math.Cos(2*math.Pi*(h-14)/24) }
	for name, c := range map[string]struct {
		warm    float64 // °C of nest air
		outside float64 // g/m³
		extra   func(h float64) float64
		age     int
		want    bool
	}{
		"blocked, mild":                      {20, 9, func(h float64) float64 { return step(h, 78, 4.5) }, 5, true},
		"blocked, cold":                      {7, 4, func(h float64) float64 { return step(h, 78, 4.5) }, 5, false},
		"as on every day":                    {20, 9, func(float64) float64 { return 0 }, 5, false},
		"wetter than outside on every day":   {20, 9, func(float64) float64 { return 4.5 }, 5, false},
		"a little more":                      {20, 9, func(h float64) float64 { return step(h, 78, 2) }, 5, false},
		"more, but far from saturated":       {30, 9, func(h float64) float64 { return step(h, 78, 4.5) }, 5, false},
		"no litter known, so no usual water": {20, 9, func(h float64) float64 { return step(h, 78, 4.5) }, -1, false},
	} {
		t.Run(name, func(t *testing.T) {
			_, events := damp{
				age: c.age, hours: 100, outside: func(float64) air { return holding(c.warm-4, c.outside) },
				air: func(h float64) air { return holding(c.warm, c.outside+usual(h)+c.extra(h)) },
			}.run(t)
			at, e := first(events, alarm.VentilationDue)
			if got := !math.IsInf(at, 1); got != c.want {
				t.Fatalf("raised %v at hour %.1f: %s", got, at, e.Text)
			}
			if c.want && (at < 78 || at > 78+9 || e.Unit != "g/m3" || e.Severity != alarm.Notice || e.Value < e.Limit) {
				t.Errorf("hour %.1f, %s %.2f over %.2f %s", at, e.Severity, e.Value, e.Limit, e.Unit)
			}
		})
	}
}

func step(h, from, by float64) float64 {
	if h >= from {
		return by
	}
	return 0
}

// Found once, moisture stands over a day of the same and over a restart, and ends when the keeper has cleared the vents.
func TestMoistureStandsUntilItIsSeenTo(t *testing.T) {
	d := damp{
		age: 5, hours: 120, outside: calm(16, 66),
		air: func(h float64) air { return holding(20, 9+2.5+step(h, 60, 4.5)) },
	}
	r := d.start(t)
	events := d.through(r, 0)
	want(t, events, alarm.VentilationDue, alarm.Raised, alarm.Notice, 1)
	want(t, events, alarm.VentilationDue, alarm.Cleared, alarm.Notice, 0)

	again := d.start(t)
	again.Restore(r.Standing())
	d.hours, d.air = 6, func(float64) air { return holding(20, 9+2.5+4.5) }
	want(t, d.through(again, 120), alarm.VentilationDue, alarm.Cleared, alarm.Notice, 0)

	if err := r.Done("oak", alarm.VentilationDue, start.Add(120*time.Hour)); err != nil {
		t.Fatal(err)
	}
	d.air = func(float64) air { return holding(20, 9+2.5) }
	want(t, d.through(r, 120), alarm.VentilationDue, alarm.Cleared, alarm.Notice, 1)
}

// Warm wet air in a box is a matter of its vents only where fresh air would dry it.
func TestHumidBoxInHeat(t *testing.T) {
	for name, c := range map[string]struct {
		in, out air
		h       float64 // when it comes, infinite for never
	}{
		"outside dry":              {air{27, 91}, air{25, 60}, 4},
		"outside not measured":     {air{27, 91}, air{25, 0}, 1},
		"outside as wet":           {air{27, 91}, air{27, 90}, math.Inf(1)},
		"just under the limit":     {air{27, 84.5}, air{25, 60}, math.Inf(1)},
		"not warm, and no verdict": {air{24.5, 91}, air{22, 60}, math.Inf(1)},
	} {
		t.Run(name, func(t *testing.T) {
			_, events := damp{age: 6, hours: 8, air: calm(c.in.t, c.in.rh), outside: calm(c.out.t, c.out.rh)}.run(t)
			if at, e := first(events, alarm.VentilationDue); math.IsInf(c.h, 1) != math.IsInf(at, 1) || at < c.h || at > c.h+0.1 {
				t.Errorf("at hour %.2f, want %.0f: %s", at, c.h, e.Text)
			}
		})
	}
}

func TestTote(t *testing.T) {
	stepAt30 := func(h float64) air { return air{16, 90 + step(h, 30, 9.5)} }
	rain := func(h float64) air { return air{14, 70 + step(h, 24, 28) - step(h, 29, 28)} }
	for name, c := range map[string]struct {
		age      int
		air      func(float64) air
		outside  func(float64) air
		severity alarm.Severity
		says     string
	}{
		"a step after rain":                          {5, stepAt30, rain, alarm.Warning, "in a step after rain"},
		"a step in dry weather":                      {5, stepAt30, calm(14, 60), alarm.Notice, "Kits alone"},
		"a step, and nobody knows whether it rained": {5, stepAt30, calm(14, 0), alarm.Warning, "in a step"},
		"always near saturation, in rain":            {5, calm(16, 98.5), rain, alarm.Notice, "Kits alone"},
		"kits just born, and rain":                   {0, stepAt30, rain, alarm.Notice, "Kits alone"},
		"saturated, and so the bedding is not told":  {5, calm(16, 99), calm(14, 60), alarm.Notice, "wet bedding does not show in air this damp"},
		"usual for a tote":                           {5, calm(16, 94), rain, alarm.None, ""},
		"no kits known":                              {-1, calm(16, 97), calm(14, 60), alarm.Warning, "No kits are known"},
		"too cold to tell":                           {5, func(h float64) air { return air{8, stepAt30(h).rh} }, rain, alarm.None, ""},
	} {
		t.Run(name, func(t *testing.T) {
			_, events := damp{nest: nest.Config{Kind: brood.BuriedTote}, age: c.age, hours: 48, air: c.air, outside: c.outside}.run(t)
			worst, said := alarm.None, ""
			for _, e := range events {
				if e.Name == alarm.ToteWet && e.State == alarm.Raised && e.Severity >= worst {
					worst, said = e.Severity, e.Text
				}
			}
			if worst != c.severity || !strings.Contains(said, c.says) {
				t.Errorf("%s %q, want %s %q", worst, said, c.severity, c.says)
			}
		})
	}
}

// Air of 20 °C and 80 % has its dew point at 16.44 °C (reference table of dew points over water, WMO coefficients).
func TestCondensation(t *testing.T) {
	for name, c := range map[string]struct {
		nest  nest.Config
		out   float64 // °C
		hours int
		want  bool
	}{
		"wood, wall at 15":               {nest.Config{Kind: brood.WoodenBox}, 10, 13, true},
		"not before half a day":          {nest.Config{Kind: brood.WoodenBox}, 10, 11, false},
		"wood, wall at 18":               {nest.Config{Kind: brood.WoodenBox}, 16, 13, false},
		"bare metal, wall at 17":         {nest.Config{Kind: brood.MetalBox}, 16, 13, true},
		"lined metal, wall at 18":        {nest.Config{Kind: brood.MetalBox, Lined: true}, 16, 13, false},
		"tote, soil not known for weeks": {nest.Config{Kind: brood.BuriedTote}, 10, 13, false},
	} {
		t.Run(name, func(t *testing.T) {
			r, _ := damp{nest: c.nest, age: 5, hours: c.hours, air: calm(20, 80), outside: calm(c.out, 60)}.run(t)
			if j := judged(r, "damp"); !j.Judged || strings.Contains(j.Why, "16.4 °C") != c.want {
				t.Errorf("%+v", j)
			}
		})
	}
	for name, c := range map[string]struct {
		mean float64 // °C of the weeks before
		want bool
	}{"tote in soil at 12": {12, true}, "tote in soil at 19": {19, false}} {
		t.Run(name, func(t *testing.T) {
			d := damp{nest: nest.Config{Kind: brood.BuriedTote, DepthM: 0.4}, age: 5, hours: 13, air: calm(20, 80), outside: calm(15, 60)}
			r := d.start(t)
			var past []nest.Day
			for i := range 30 {
				b := start.AddDate(0, 0, i-30)
				past = append(past, nest.Day{Begin: b, End: b.AddDate(0, 0, 1), Lowest: c.mean - 4, Highest: c.mean + 4})
			}
			r.Weather(past)
			d.through(r, 0)
			if j := judged(r, "damp"); !j.Judged || strings.Contains(j.Why, fmt.Sprintf("soil is about %.1f °C", c.mean)) != c.want {
				t.Errorf("%+v", j)
			}
		})
	}
}

// The day on which the kits' weight since the last change equals that of eight from birth to day 14. Worked by hand from the middles of the
// published weights (birth 49.8 g, day 5 91.1, day 7 115.5, day 10 149, day 21 374): 1.715 kg·days a kit to day 14, so 1.247 for each of
// eleven kits is reached on day 11.7, 1.143 for each of twelve on day 11.2; in winter at 1/1.2 of the load.
func TestBeddingByTheLoad(t *testing.T) {
	for _, c := range []struct {
		kits    int
		kind    brood.Kind
		outside float64 // °C
		done    int     // day of the change, 0 for none
		want    int
	}{
		{8, brood.WoodenBox, 15, 0, 14},
		{4, brood.WoodenBox, 15, 0, 14},
		{9, brood.WoodenBox, 15, 0, 14},
		{11, brood.WoodenBox, 15, 0, 12},
		{12, brood.MetalBox, 15, 0, 12},
		{8, brood.WoodenBox, 1, 0, 13},
		{12, brood.WoodenBox, 1, 0, 10}, // 0.953, and by day 10 it is 0.955
		{8, brood.BuriedTote, 15, 0, 14},
		{12, brood.BuriedTote, 15, 0, 11},
		{8, brood.WoodenBox, 15, 14, 20},
		{4, brood.WoodenBox, 15, 14, 21},
		{12, brood.WoodenBox, 15, 12, 14}, // the calendar stays the floor
		{0, brood.WoodenBox, 15, 0, 14},   // not counted: seven
	} {
		t.Run(fmt.Sprintf("%d kits, %s, %g °C, done %d", c.kits, c.kind, c.outside, c.done), func(t *testing.T) {
			for age := max(c.done, 1); age <= 22; age++ {
				kindled := start.AddDate(0, 0, -age)
				r := damp{nest: nest.Config{Kind: c.kind}, age: -1}.start(t)
				r.SetLitters([]litter.Litter{{ID: 1, Nest: "oak", Bred: kindled.AddDate(0, 0, -31), Kindled: kindled, Born: c.kits}}, start)
				r.Weather([]nest.Day{{Begin: start.AddDate(0, 0, -1), End: start, Lowest: c.outside, Highest: c.outside + 1}})
				if c.done > 0 {
					if err := r.Done("oak", alarm.BeddingDue, kindled.AddDate(0, 0, c.done).Add(10*time.Hour)); err != nil {
						t.Fatal(err)
					}
				}
				events := damp{hours: 1, air: calm(15, 60), outside: calm(c.outside, 60)}.through(r, 0)
				if _, e := first(events, alarm.BeddingDue); e.Name != "" {
					if age != c.want {
						t.Errorf("due on day %d, want %d: %s", age, c.want, e.Text)
					}
					if early := age < 14; early != strings.Contains(e.Text, "before the usual day") && c.done == 0 {
						t.Errorf("day %d: %s", age, e.Text)
					}
					return
				}
			}
			t.Errorf("never due")
		})
	}
}

// What was found in the nest since the last change brings the day forward; a change begins anew.
func TestMoistureBringsBeddingForward(t *testing.T) {
	d := damp{
		age: 7, hours: 100, outside: calm(16, 66),
		air: func(h float64) air { return holding(20, 9+2.5+step(h, 78, 4.5)) },
	}
	r := d.start(t)
	at, e := first(d.through(r, 0), alarm.BeddingDue)
	if at < 78 || at > 87 || !strings.Contains(e.Text, "Moisture has also been found") {
		t.Errorf("hour %.1f: %s", at, e.Text)
	}
	if err := r.Done("oak", alarm.BeddingDue, start.Add(100*time.Hour)); err != nil {
		t.Fatal(err)
	}
	d.hours, d.air = 30, func(float64) air { return holding(20, 9+2.5) }
	events := d.through(r, 100)
	want(t, events, alarm.BeddingDue, alarm.Cleared, alarm.Notice, 1)
	want(t, events, alarm.BeddingDue, alarm.Raised, alarm.Notice, 0)
}

// A change that was entered for an earlier time than moisture was found changes nothing of it, and one that is struck brings it back.
func TestMoistureOutlastsALateMark(t *testing.T) {
	for name, c := range map[string]struct {
		done   float64 // h
		strike bool
		want   bool
	}{
		"changed before it was found": {60, false, true},
		"changed since":               {100, false, false},
		"changed, and struck":         {100, true, true},
	} {
		t.Run(name, func(t *testing.T) {
			d := damp{
				age: 7, hours: 100, outside: calm(16, 66),
				air: func(h float64) air { return holding(20, 9+2.5+step(h, 78, 4.5)) },
			}
			r := d.start(t)
			d.through(r, 0)
			done := start.Add(time.Duration(c.done * float64(time.Hour)))
			if err := r.Done("oak", alarm.BeddingDue, done); err != nil {
				t.Fatal(err)
			}
			if c.strike {
				if err := r.Undone("oak", alarm.BeddingDue, done); err != nil {
					t.Fatal(err)
				}
			}
			d.hours, d.air = 1, func(float64) air { return holding(20, 9+7) }
			d.through(r, 100)
			found := false
			for _, task := range r.Agenda(start.Add(101*time.Hour), start.AddDate(0, 0, 30)) {
				found = found || task.Chore == alarm.BeddingDue && strings.Contains(task.Text, "Moisture has also been found")
			}
			if found != c.want {
				t.Errorf("moisture is known: %v, want %v", found, c.want)
			}
		})
	}
}

// Damp bedding brings the watch for flies forward, in that nest alone; where all are watched it is not asked twice.
func TestDampBeddingDrawsFlies(t *testing.T) {
	d := damp{age: 7, hours: 110, outside: calm(17, 62), air: func(h float64) air { return holding(20, 9+2.5+step(h, 78, 4.5)) }}
	_, events := d.run(t)
	at, e := first(events, alarm.FlyStrikeDue)
	if at < 78 || at > 104 || e.Nest != "oak" {
		t.Errorf("hour %.1f: %s", at, e.Text)
	}
	d.air = func(float64) air { return holding(20, 9+2.5) }
	_, events = d.run(t)
	want(t, events, alarm.FlyStrikeDue, alarm.Raised, alarm.Notice, 0)
}

// A tote into which water has come for a week in all is sealed sooner than in years, and once it is sealed the days begin anew.
func TestWaterBringsTheSealForward(t *testing.T) {
	d := damp{nest: nest.Config{Kind: brood.BuriedTote}, age: -1, hours: 9 * 24, outside: calm(12, 70), air: calm(14, 99.5)}
	r := d.start(t)
	r.SetLitters([]litter.Litter{{ID: 1, Nest: "oak", Bred: start.AddDate(0, 0, -2)}}, start)
	at, e := first(d.through(r, 0), alarm.ResealToteDue)
	if at < 7*24 || at > 8*24 || !e.HasValue || e.Limit != 7*24 {
		t.Errorf("hour %.1f: %+v", at, e)
	}
	sealed := func(hours time.Duration) {
		if err := r.Done("oak", alarm.ResealToteDue, start.Add(hours*time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	sealed(-24 * 300) // entered late: the water came after it
	d.hours = 1
	want(t, d.through(r, 9*24), alarm.ResealToteDue, alarm.Cleared, alarm.Notice, 0)
	sealed(9*24 + 1)
	d.hours = 24
	events := d.through(r, 9*24+1)
	want(t, events, alarm.ResealToteDue, alarm.Cleared, alarm.Notice, 1)
	want(t, events, alarm.ResealToteDue, alarm.Raised, alarm.Notice, 0)
}

// Wet and cold together are worse than either: the cold's words say so where humidity can tell, and keep silent where it cannot.
func TestWetAndCold(t *testing.T) {
	for name, c := range map[string]struct {
		in   air
		want bool
	}{"damp": {air{11, 92}, true}, "dry": {air{11, 60}, false}, "too cold to tell": {air{6, 97}, false}, "saturated": {air{11.5, 100}, false}} {
		t.Run(name, func(t *testing.T) {
			_, events := damp{age: 2, hours: 3, air: calm(c.in.t, c.in.rh), outside: calm(3, 80)}.run(t)
			if _, e := first(events, alarm.NestCold); strings.Contains(e.Text, "wet and cold together") != c.want {
				t.Errorf("%q", e.Text)
			}
		})
	}
}

// Air at an edge beyond which humidity says nothing: what is said of it changes once and not many times an hour, and comes back when the air
// has been well clear for half an hour.
func TestDampDoesNotFlip(t *testing.T) {
	wobble := func(m int) float64 { return float64(m%3) - 1 }
	for name, at := range map[string]func(m int) air{
		"near saturation":  func(m int) air { return air{15, 97.8 + 0.8*wobble(m)} },
		"near ten degrees": func(m int) air { return air{10.1 + 0.4*wobble(m), 80} },
	} {
		t.Run(name, func(t *testing.T) {
			r := damp{age: 5}.start(t)
			changes, was := 0, true
			follow := func(from, minutes int, read func(m int) air) {
				for m := from; m < from+minutes; m++ {
					in, now := read(m), start.Add(time.Duration(m)*time.Minute)
					r.Observe(now, []sensors.Reading{
						{Probe: "air", Time: now, Value: in.t},
						{Probe: "air", Quantity: sensors.Humidity, Time: now, Value: in.rh},
						{Probe: "shade", Time: now, Value: 5 + dusty(m)},
					})
					if is := judged(r, "damp").Judged; m > 2 && is != was {
						changes, was = changes+1, is
					}
				}
			}
			follow(0, 180, at)
			if changes != 1 || was {
				t.Errorf("%d changes in three hours at the edge, judged %v; want one, to not judged", changes, was)
			}
			follow(180, 25, func(m int) air { return air{15 + dusty(m), 80 + dusty(m)} })
			if was {
				t.Error("judged again after less than half an hour")
			}
			follow(205, 10, func(m int) air { return air{15 + dusty(m), 80 + dusty(m)} })
			if !was || changes != 2 {
				t.Errorf("%d changes, judged %v after half an hour well clear", changes, was)
			}
		})
	}
}
