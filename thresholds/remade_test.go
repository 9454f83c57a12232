package thresholds_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// turnedAt is the minute at which the box of these courses is turned: 10 o'clock of the second day.
const turnedAt = 34 * 60

// turned is a pile that reads 33 °C, and 24 °C in one step once its box was turned and the probe lies farther off.
func turned(after func(m int) float64) func(m int) float64 {
	return func(m int) float64 {
		switch {
		case m < turnedAt:
			return 33 + dusty(m)
		case m < turnedAt+20:
			return 18 + dusty(m)
		}
		return after(m) + dusty(m)
	}
}

// A turned box is another nest: the pile lies elsewhere. Unmarked that asks for a look; a look alone does not tell a probe that lies farther off
// from a pile that lost its warmth. Marked, neither is called, and what cools after it is told all the same.
func TestTurnedBox(t *testing.T) {
	farther, farOff := turned(constant(24)), turned(constant(21.5))
	cools := turned(func(m int) float64 { return 14 + 10*math.Exp(-float64(max(m-turnedAt-8*60, 0))/150) })
	for name, c := range map[string]struct {
		did         alarm.Name
		pile        func(m int) float64
		look, chill bool
	}{
		"not marked":               {"", farther, true, false},
		"marked":                   {alarm.TurnBoxDue, farther, false, false},
		"looked at alone":          {alarm.InspectDue, farOff, false, true},
		"marked, and far off":      {alarm.TurnBoxDue, farOff, true, false}, // the probe does lie badly
		"marked, and then a chill": {alarm.TurnBoxDue, cools, false, true},
	} {
		t.Run(name, func(t *testing.T) {
			tr := trace{minutes: turnedAt + 24*60, litters: newborn(11), outside: constant(12), cluster: c.pile, did: map[int]alarm.Name{turnedAt + 15: c.did}}
			tr.air = func(m int) float64 { return 14 + dusty(m+1) }
			_, events := tr.run(t)
			look, chill := count(events, alarm.CheckNest, alarm.Raised, alarm.Notice) > 0, count(events, alarm.ClusterChill, alarm.Raised, alarm.Notice) > 0
			if look != c.look && !c.chill || chill != c.chill {
				t.Errorf("look %v, chill %v; want %v, %v", look, chill, c.look, c.chill)
			}
		})
	}
}

// A mark that comes when a chill stands does not end it.
func TestATurnEndsNoChill(t *testing.T) {
	cools := func(m int) float64 { return 18 + 16*math.Exp(-float64(max(m-600, 0))/100) + dusty(m) }
	r, events := trace{minutes: 1400, litters: newborn(13), air: constant(8), outside: constant(6), cluster: cools, did: map[int]alarm.Name{950: alarm.TurnBoxDue}}.run(t)
	want(t, events, alarm.ClusterChill, alarm.Cleared, alarm.Notice, 0)
	if !standing(r, alarm.ClusterChill) {
		t.Error("no chill stands")
	}
}

// What was learned of a nest is of its make-up.
func TestAnotherMakeupIsLearnedAnew(t *testing.T) {
	day := func(m int) float64 {
		return 8 + 5*math.Sin(float64(m)*2*math.Pi/1440) + 2*math.Sin(float64(m)*2*math.Pi/310) + dusty(m)
	}
	for name, c := range map[string]struct {
		chore alarm.Name
		late  bool
		want  int
	}{
		"turned":                {alarm.TurnBoxDue, false, 0},
		"the season's":          {alarm.SeasonSetupDue, false, 0},
		"only looked at":        {alarm.InspectDue, false, 3},
		"bedding changed":       {alarm.BeddingDue, false, 3},
		"turned the day before": {alarm.TurnBoxDue, true, 1},
	} {
		t.Run(name, func(t *testing.T) {
			tr := trace{minutes: 4*1440 + 600, litters: newborn(13), air: func(m int) float64 { return day(m-20) + 3 }, outside: day, cluster: constant(33)}
			r, _ := tr.run(t)
			learned := func() int { return r.Snapshot().Nests[0].Learned.Nights }
			if n := learned(); n < 3 {
				t.Fatalf("%d nights were learned", n)
			}
			now, nestID := r.Snapshot().Time, "oak"
			if c.chore == alarm.SeasonSetupDue {
				nestID = ""
			}
			if c.late {
				now = now.Add(-24 * time.Hour)
			}
			if err := r.Done(nestID, c.chore, now); err != nil {
				t.Fatal(err)
			}
			if n := learned(); n < c.want || c.want == 0 && n > 0 || c.late && n > 1 {
				t.Errorf("%d nights are known, want %d", n, c.want)
			}
		})
	}
}

// A look that was entered explains what happened in the nest: the pile that was moved, the air that stepped.
func TestALookExplainsADisturbance(t *testing.T) {
	moved := func(m int) float64 {
		if m < 1000 {
			return 34 + dusty(m)
		}
		return 25 + dusty(m)
	}
	tr := trace{minutes: 1300, litters: newborn(5), cluster: moved, air: constant(12), outside: constant(11)}
	_, events := tr.run(t)
	want(t, events, alarm.CheckNest, alarm.Raised, alarm.Notice, 1)
	tr.looked = 1150
	r, events := tr.run(t)
	want(t, events, alarm.CheckNest, alarm.Cleared, alarm.Notice, 1)
	if standing(r, alarm.CheckNest) {
		t.Error("somebody looked, and a look is still asked for")
	}
}

// Without their box kits are out: what only a box can have is over, and heat is not.
func TestTheBoxIsTakenOut(t *testing.T) {
	cold := trace{minutes: 600, litters: newborn(22), cluster: constant(3), air: constant(-14), outside: constant(-15)}
	_, events := cold.run(t)
	want(t, events, alarm.NestCold, alarm.Raised, alarm.Notice, 1)
	cold.did = map[int]alarm.Name{1: alarm.RemoveBoxDue}
	r, events := cold.run(t)
	want(t, events, alarm.NestCold, alarm.Raised, alarm.Notice, 0)
	want(t, events, alarm.InspectDue, alarm.Raised, alarm.Notice, 0)
	if s := r.Snapshot().Nests[0]; s.Stage != thresholds.OutOfBox {
		t.Errorf("stage %q", s.Stage)
	}
	hot := trace{minutes: 120, litters: newborn(22), air: constant(36), outside: constant(30), did: map[int]alarm.Name{1: alarm.RemoveBoxDue}}
	_, events = hot.run(t)
	want(t, events, alarm.NestHeat, alarm.Raised, alarm.Urgent, 1)
}

// In nights of frost a nest is carried indoors: no visit of the doe is missed, nor for a day after.
func TestIndoorsNoVisitIsMissed(t *testing.T) {
	visited := func(base, by float64) func(m int) float64 {
		return func(m int) float64 {
			if k := m % 1440; m < 3*1440 && (by > 0 && k >= 300 && k < 304 || by < 0 && k >= 303 && k < 330) {
				return base + by
			}
			return base + dusty(m)
		}
	}
	tr := trace{minutes: 6 * 1440, litters: newborn(2), outside: constant(9), air: visited(12, 2.5), cluster: visited(34, -2.5)}
	_, events := tr.run(t)
	want(t, events, alarm.VisitOverdue, alarm.Raised, alarm.Warning, 1)
	tr.carried = [2]int{3 * 1440, 3*1440 + 20*60}
	_, events = tr.run(t)
	want(t, events, alarm.VisitOverdue, alarm.Raised, alarm.Notice, 0)
}

// Indoors the weather harms nobody, and the nest's own probes are judged as everywhere.
func TestIndoorsIsOutOfTheWeather(t *testing.T) {
	stops := func(m int) float64 {
		if m > 200 {
			return math.NaN()
		}
		return 18 + dusty(m)
	}
	carriedIn := func(m int) float64 {
		if m < 100 {
			return -4 + dusty(m)
		}
		return 26 - 30*math.Exp(-float64(m-100)/25) + dusty(m)
	}
	in := [2]int{100, 1 << 20}
	for name, c := range map[string]struct {
		tr      trace
		name    alarm.Name
		atLeast alarm.Severity
		want    int
	}{
		"silent outside":        {trace{minutes: 400, air: stops, outside: constant(-4), cluster: constant(34)}, alarm.ProbeSilent, alarm.Urgent, 1},
		"silent indoors":        {trace{minutes: 400, air: stops, outside: constant(-4), cluster: constant(34), carried: in}, alarm.ProbeSilent, alarm.Urgent, 0},
		"silent, and forgotten": {trace{minutes: 100 + 37*60, air: stops, outside: constant(-4), cluster: constant(34), carried: in}, alarm.ProbeSilent, alarm.Urgent, 1},
		"warm air is no sun":    {trace{minutes: 500, air: carriedIn, outside: constant(-4), cluster: constant(34), carried: in}, alarm.HeatExpected, alarm.Notice, 0},
		"the same outside":      {trace{minutes: 500, air: carriedIn, outside: constant(-4), cluster: constant(34)}, alarm.HeatExpected, alarm.Notice, 1},
		"heat":                  {trace{minutes: 300, air: constant(36), outside: constant(-4), carried: in}, alarm.NestHeat, alarm.Urgent, 1},
		"a chill":               {trace{minutes: 600, air: constant(12), outside: constant(-4), cluster: func(m int) float64 { return 12 + 23*math.Exp(-float64(max(m-300, 0))/150) + dusty(m) }, carried: in}, alarm.ClusterChill, alarm.Warning, 1},
	} {
		t.Run(name, func(t *testing.T) {
			c.tr.litters = newborn(3)
			_, events := c.tr.run(t)
			got := 0
			for _, e := range events {
				if e.Name == c.name && e.State == alarm.Raised && e.Severity >= c.atLeast {
					got++
				}
			}
			if min(got, 1) != c.want {
				t.Errorf("%d times: %v", got, events)
			}
		})
	}
}

// A nest indoors is asked back: as a notice, then by day as a warning, until it is entered that it is back. To let her nurse where it stands
// begins the hours anew.
func TestTheNestIsAskedBack(t *testing.T) {
	tr := trace{
		minutes: 40 * 60, kind: brood.WoodenBox, litters: newborn(3), air: constant(15), outside: constant(-5), cluster: constant(34),
		carried: [2]int{6 * 60, 36 * 60}, // 6:00, and noon of the next day
	}
	hours := func(events []alarm.Event, state alarm.State) (all []float64) {
		for _, e := range events {
			if e.Name == alarm.ReturnBoxDue && e.State == state {
				all = append(all, math.Round(e.Time.Sub(start).Hours()*10)/10)
			}
		}
		return all
	}
	_, events := tr.run(t)
	// 6:00 and twelve hours; twenty hours would be 2:00 of the night, so the warning waits for 6:00.
	if raised, over := hours(events, alarm.Raised), hours(events, alarm.Cleared); !slices.Equal(raised, []float64{18, 30}) || !slices.Equal(over, []float64{36}) {
		t.Errorf("raised %v, over %v", raised, over)
	}
	tr.carried[1] = 39 * 60
	tr.did = map[int]alarm.Name{17 * 60: alarm.ReturnBoxDue}
	_, events = tr.run(t)
	if raised := hours(events, alarm.Raised); !slices.Equal(raised, []float64{29, 37}) {
		t.Errorf("nursed at 17:00, raised %v", raised)
	}
}

// A box that somebody took out of this nest before the kits came into it was not theirs, and one that was put in again holds them.
func TestTheBoxIsInAgain(t *testing.T) {
	cold := trace{minutes: 600, litters: newborn(22), cluster: constant(3), air: constant(-14), outside: constant(-15)}
	for name, c := range map[string]struct {
		since time.Time
		did   map[int]alarm.Name
	}{
		"moved into":   {start.Add(30 * time.Minute), map[int]alarm.Name{10: alarm.RemoveBoxDue}},
		"at one time":  {start.Add(10 * time.Minute), map[int]alarm.Name{10: alarm.RemoveBoxDue}},
		"put in again": {time.Time{}, map[int]alarm.Name{10: alarm.RemoveBoxDue, 30: alarm.BoxDue}},
	} {
		t.Run(name, func(t *testing.T) {
			tr := cold
			tr.litters, tr.did = newborn(22), c.did
			tr.litters[0].Since = c.since
			r, events := tr.run(t)
			want(t, events, alarm.NestCold, alarm.Raised, alarm.Notice, 1)
			if s := r.Snapshot().Nests[0]; s.Stage != thresholds.Nursing {
				t.Errorf("stage %q", s.Stage)
			}
		})
	}
}

// In frost a warm pile makes cold nest air advice, also in the minutes after its box was turned, before the pile is judged again.
func TestATurnCallsNobodyForTheCold(t *testing.T) {
	tr := trace{minutes: turnedAt + 600, litters: newborn(14), outside: constant(-8), did: map[int]alarm.Name{turnedAt: alarm.TurnBoxDue}}
	tr.cluster = func(m int) float64 { return 33 + dusty(m) }
	tr.air = func(m int) float64 { return -6 + dusty(m+1) }
	_, events := tr.run(t)
	want(t, events, alarm.NestCold, alarm.Raised, alarm.Notice, 1)
	want(t, events, alarm.NestCold, alarm.Raised, alarm.Warning, 0)
}
