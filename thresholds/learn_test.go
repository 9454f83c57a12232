package thresholds_test

import (
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

// waves is invented weather: periods in hours and amplitudes in K about a mean.
type waves []struct{ hours, amplitude float64 }

var weather = waves{{24, 5}, {61, 3}, {17, 1}, {7.3, 0.8}, {3.1, 0.4}, {1.7, 0.2}}

// through is the weather as it comes out of something that leaves share(w) of a wave of w rad/h and delays it by phase(w).
func (ws waves) through(mean float64, share, phase func(w float64) float64) func(m int) float64 {
	return func(m int) float64 {
		v := mean
		for i, s := range ws {
			w := 2 * math.Pi / s.hours
			v += share(w) * s.amplitude * math.Cos(w*(float64(m)/60-15)-float64(i)-phase(w))
		}
		return v
	}
}

func one(float64) float64  { return 1 }
func zero(float64) float64 { return 0 }

// lagged is the answer of a first-order lag of tau minutes that lets share of a lasting change through, from any book on control.
func (ws waves) lagged(mean, tau, share float64) func(m int) float64 {
	return ws.through(mean, func(w float64) float64 { return share / math.Hypot(1, w*tau/60) }, func(w float64) float64 { return math.Atan(w * tau / 60) })
}

func grainy(f func(m int) float64) func(m int) float64 {
	return func(m int) float64 { return f(m) + dusty(7*m) }
}

func inside(t *testing.T, what string, f thresholds.Figure, truth, most float64) {
	t.Helper()
	switch {
	case !f.Known:
		t.Errorf("%s is not known", what)
	case math.Abs(f.Value-truth) > f.Error:
		t.Errorf("%s %.3f ± %.3f, true is %.3f", what, f.Value, f.Error, truth)
	case f.Error > most:
		t.Errorf("%s is known to ± %.3f only, want %.3f", what, f.Error, most)
	}
}

// A nest that is a first-order lag is learned as what it is, and how its day is damped and delayed follows from that.
func TestLearnsHowANestFollows(t *testing.T) {
	for name, c := range map[string]struct{ tau, share, over float64 }{
		"a box":                  {25, 1, 0.4},
		"a box that kits warm":   {45, 0.9, 3},
		"a tote with a thin lid": {110, 0.5, 2},
	} {
		t.Run(name, func(t *testing.T) {
			r, _ := trace{
				minutes: 12 * 1440, kind: brood.BuriedTote, cluster: nothing, outside: grainy(weather.through(12, one, zero)),
				air: grainy(weather.lagged(12+c.over, c.tau, c.share)),
			}.run(t)
			l := r.Snapshot().Nests[0].Learned
			w := 2 * math.Pi / 24 * c.tau / 60
			inside(t, "time constant", l.Follows, c.tau, 0.3*c.tau)
			inside(t, "share", l.Share, c.share, 0.15)
			inside(t, "share of the day", l.Damped, c.share/math.Hypot(1, w), 0.06)
			inside(t, "hours late", l.LateH, math.Atan(w)*24/(2*math.Pi), 0.5)
		})
	}
}

// What moist ground leaves of the day's wave: shares from a table computed by Hillel's form (amplitude exp(-z/d), lag z/(d·w), d the
// damping depth of the day), for 0.30 m of moist clay, moist sand and the soil between them.
func TestLearnsTheDayOfATote(t *testing.T) {
	for name, c := range map[string]struct{ kappa, share float64 }{
		"moist clay": {0.40e-6, 0.057}, "between": {0.50e-6, 0.077}, "moist sand": {0.99e-6, 0.162},
	} {
		t.Run(name, func(t *testing.T) {
			const depth = 0.30
			scale := func(w float64) float64 { return depth / math.Sqrt(2*c.kappa*3600/w) }
			r, _ := trace{
				minutes: 9 * 1440, kind: brood.BuriedTote, cluster: nothing, outside: waves{{24, 8}, {61, 2}}.through(13, one, zero),
				air: waves{{24, 8}, {61, 2}}.through(13, func(w float64) float64 { return math.Exp(-scale(w)) }, scale),
			}.run(t)
			l := r.Snapshot().Nests[0].Learned
			inside(t, "share of the day", l.Damped, c.share, 0.05)
			inside(t, "hours late", l.LateH, scale(2*math.Pi/24)*24/(2*math.Pi), 1)
		})
	}
}

func TestNotKnownYet(t *testing.T) {
	r, _ := trace{minutes: 4*1440 - 60, cluster: nothing, outside: weather.through(12, one, zero), air: weather.lagged(13, 30, 1)}.run(t)
	l := r.Snapshot().Nests[0].Learned
	if l.Follows.Known || l.WarmEmpty.Known || len(l.Text) != 1 || !strings.HasPrefix(l.Text[0], "How this nest holds warmth: known after 5 nights, ") {
		t.Errorf("after three nights: %+v", l)
	}
}

// Warmth with kits and without are two figures, and the stated error of nights that differ is not that of one night.
func TestLearnsTheWarmthOfKits(t *testing.T) {
	const tau, cold, warm = 30, 0.3, 2.1
	bred := []litter.Litter{{ID: 1, Nest: "oak", Bred: start.AddDate(0, 0, -25), Kindled: start.AddDate(0, 0, 7), Born: 8}}
	empty, full := weather.lagged(12+cold, tau, 1), weather.lagged(12+warm, tau, 1)
	r, _ := trace{
		minutes: 14 * 1440, litters: bred, cluster: func(m int) float64 {
			if m < 7*1440 {
				return empty(m)
			}
			return 34 + dusty(m)
		},
		outside: weather.through(12, one, zero), air: func(m int) float64 {
			if m < 7*1440 {
				return empty(m)
			}
			return full(m)
		},
	}.run(t)
	l := r.Snapshot().Nests[0].Learned
	// Outside cools through the night and nest air is half an hour behind: the true mean of the difference is not the offset alone.
	behind := func(from int) float64 {
		sum, n := 0.0, 0.0
		out, in := weather.through(0, one, zero), weather.lagged(0, tau, 1)
		for m := from; m < from+7*1440; m++ {
			if h := m / 60 % 24; h >= 22 || h < 5 {
				sum, n = sum+in(m)-out(m), n+1
			}
		}
		return sum / n
	}
	inside(t, "warmth without kits", l.WarmEmpty, cold+behind(0), 1.2)
	inside(t, "warmth with kits", l.WarmKits, warm+behind(7*1440), 1.2)
}

// Four boxes alike, one of them colder: it alone is said to be, and a probe that reads half a degree wrong is none.
func TestColderThanItsNeighbours(t *testing.T) {
	over := map[string]float64{"oak": 0.5, "elm": 2.7, "ash": 3.0, "fir": 2.2}
	ps, litters := probes()[2:], []litter.Litter(nil)
	var nests []nest.Config
	for id := range over {
		air := probes()[1]
		air.ID = id
		ps = append(ps, air)
		nests = append(nests, nest.Config{ID: id, Kind: brood.WoodenBox, Air: id})
		litters = append(litters, litter.Litter{ID: int64(len(nests)), Nest: id, Bred: start.AddDate(0, 0, -33), Kindled: start.AddDate(0, 0, -2), Born: 8})
	}
	r := made(t, ps, nests...)
	r.SetLitters(litters, start)
	out := weather.through(5, one, zero)
	for half := range 2 * 8 * 1440 {
		at := start.Add(time.Duration(half) * 30 * time.Second)
		batch := []sensors.Reading{{Probe: "shade", Time: at, Value: out(half / 2)}}
		for id, k := range over {
			batch = append(batch, sensors.Reading{Probe: id, Time: at, Value: weather.lagged(5+k, 25, 1)(half / 2)})
		}
		r.Observe(at, batch)
	}
	for _, n := range r.Snapshot().Nests {
		said := strings.Join(n.Learned.Text, " ")
		if colder := strings.Contains(said, "colder at night than its neighbours"); colder != (n.ID == "oak") || strings.Contains(said, "warmer at night") {
			t.Errorf("%s: %+v %s", n.ID, n.Learned.Neighbours, said)
		}
		if n.ID == "oak" && math.Abs(n.Learned.Neighbours.Value-(0.5-2.7)) > 0.1 {
			t.Errorf("oak differs by %.2f K, want -2.2", n.Learned.Neighbours.Value)
		}
	}
}

// Two cables swapped, or two probes that are right: told by nights, in words that say how to be sure.
func TestSwappedWithTheProbeOutside(t *testing.T) {
	const minutes = 3 * 1440
	out, box, straw := weather.through(8, one, zero), weather.lagged(8, 20, 1), weather.lagged(8, 50, 1)
	tote, warmWind := weather.lagged(6, 100, 0.4), weather.through(18, one, zero)
	pile := func(m int) float64 { return 33 + math.Sin(float64(m)/200) }
	bred := []litter.Litter{{ID: 1, Nest: "oak", Bred: start.AddDate(0, 0, -20)}}
	for name, c := range map[string]struct {
		trace
		want int
	}{
		"empty, swapped":                    {trace{litters: bred, outside: straw, cluster: out, air: box}, 1},
		"empty, sound":                      {trace{litters: bred, outside: out, cluster: straw, air: box}, 0},
		"kits, swapped":                     {trace{litters: newborn(3), outside: pile, cluster: out, air: weather.lagged(10, 20, 1)}, 1},
		"kits, sound":                       {trace{litters: newborn(3), outside: out, cluster: pile, air: weather.lagged(10, 20, 1)}, 0},
		"kits in a tote, swapped":           {trace{kind: brood.BuriedTote, litters: newborn(3), outside: pile, cluster: out, air: tote}, 1},
		"empty tote in a warm wind, sound":  {trace{kind: brood.BuriedTote, litters: bred, outside: warmWind, cluster: tote, air: tote}, 0},
		"the cluster probe in air, sound":   {trace{litters: newborn(3), outside: out, cluster: box, air: box}, 0},
		"nothing to judge by: no outside":   {trace{litters: newborn(3), outside: nothing, cluster: out, air: box}, 0},
		"nothing to judge by: no nest air":  {trace{litters: newborn(3), outside: pile, cluster: out, air: nothing}, 0},
		"swapped, and put right in the day": {trace{litters: newborn(3), outside: until(2400, pile, out), cluster: until(2400, out, pile), air: weather.lagged(10, 20, 1)}, 1},
	} {
		t.Run(name, func(t *testing.T) {
			c.minutes = minutes
			c.outside, c.cluster = grainy(c.outside), grainy(c.cluster)
			_, events := c.run(t)
			want(t, events, alarm.ProbeFault, alarm.Raised, alarm.Warning, c.want)
			for _, e := range events {
				if e.Name == alarm.ProbeFault && e.State == alarm.Raised {
					if e.Probe != "cluster" || !strings.Contains(e.Text, "shade") || !strings.Contains(e.Text, "in the hand") {
						t.Errorf("%s: %s", e.Probe, e.Text)
					}
				}
			}
			if strings.Contains(name, "put right") {
				want(t, events, alarm.ProbeFault, alarm.Cleared, alarm.Warning, 1)
			}
		})
	}
}

// until is one course up to a minute and another from there.
func until(minute int, before, after func(m int) float64) func(m int) float64 {
	return func(m int) float64 {
		if m < minute {
			return before(m)
		}
		return after(m)
	}
}

// A scale that runs away by 0.15 K an hour, or an offset no nest can have. Downward on a live pile it cannot be told.
func TestRunawayScale(t *testing.T) {
	drift := func(from, rate float64) func(m int) float64 {
		return func(m int) float64 { return from + rate*float64(m)/60 }
	}
	out, box := weather.through(8, one, zero), weather.lagged(9, 20, 1)
	hotOut, hotBox := waves{{24, 4}}.through(31, one, zero), waves{{24, 4}}.lagged(32, 20, 1)
	minus := func(f func(int) float64, k float64) func(int) float64 { return func(m int) float64 { return f(m) - k } }
	for name, c := range map[string]struct {
		trace
		want int
	}{
		"up, in cool air":               {trace{litters: newborn(3), outside: out, air: box, cluster: drift(35, 0.15)}, 1},
		"up, but not as far as that":    {trace{litters: newborn(3), outside: out, air: box, cluster: drift(35, 0.05)}, 0},
		"kits in a heat wave":           {trace{litters: newborn(3), outside: hotOut, air: hotBox, cluster: func(m int) float64 { return 39.6 + dusty(m) }}, 0},
		"colder than all round it":      {trace{litters: newborn(3), outside: out, air: box, cluster: minus(out, 3.5)}, 1},
		"a little colder":               {trace{litters: newborn(3), outside: out, air: box, cluster: minus(box, 1.5)}, 0},
		"nest air far under outside":    {trace{litters: newborn(3), outside: out, air: minus(box, 6), cluster: func(m int) float64 { return 33 + dusty(m) }}, 1},
		"nest air a little under it":    {trace{litters: newborn(3), outside: out, air: minus(box, 2.5), cluster: func(m int) float64 { return 33 + dusty(m) }}, 0},
		"down on a live pile, not told": {trace{litters: newborn(3), outside: out, air: box, cluster: drift(36, -0.15)}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			c.minutes, c.cluster = 44*60, grainy(c.cluster)
			_, events := c.run(t)
			want(t, events, alarm.ProbeFault, alarm.Raised, alarm.Warning, c.want)
		})
	}
}
