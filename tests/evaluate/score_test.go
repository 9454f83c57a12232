package main

import (
	"math"
	"testing"
	"time"

	"nestmon/sensors/simulated"
	"nestmon/thresholds/alarm"
)

// birth is the birth of every hand-made litter; h hours after it is at(h).
var birth = time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC)

func at(h float64) time.Time { return birth.Add(time.Duration(h * float64(time.Hour))) }

func hoursSpan(from, to float64) span { return span{at(from), at(to)} }

func raised(h float64, name alarm.Name, s alarm.Severity) alarm.Event {
	return alarm.Event{Time: at(h), Nest: nestID, Name: name, State: alarm.Raised, Severity: s}
}

func cleared(h float64, name alarm.Name) alarm.Event {
	return alarm.Event{Time: at(h), Nest: nestID, Name: name, State: alarm.Cleared}
}

func noted(h float64, name alarm.Name) alarm.Event {
	return alarm.Event{Time: at(h), Nest: nestID, Name: name, State: alarm.Noted, Severity: alarm.Notice}
}

// lived is a litter of ten days with a day before birth and these events of one probe.
func lived(events ...alarm.Event) *record {
	r := &record{litter: litter{born: birth, start: at(-24), end: at(240)}}
	r.judged[oneProbe].events = events
	return r
}

func TestWindow(t *testing.T) {
	for _, row := range []struct {
		name       string
		d          danger
		fault      span
		strict     bool
		from, till float64 // h
	}{
		{"no fault, long", danger{onset: at(50), end: at(80)}, span{}, true, 47, 53},
		{"no fault, short: an hour at least", danger{onset: at(50), end: at(50.6)}, span{}, true, 47, 51},
		{"no fault, ends within three hours", danger{onset: at(50), end: at(52)}, span{}, true, 47, 52},
		{"fault just before", danger{onset: at(50), end: at(80)}, hoursSpan(49, 70), true, 49, 53},
		{"the same, wide", danger{onset: at(50), end: at(80)}, hoursSpan(49, 70), false, 47, 53},
		{"fault long before", danger{onset: at(50), end: at(80)}, hoursSpan(10, 70), true, 47, 53},
		{"the same, wide", danger{onset: at(50), end: at(80)}, hoursSpan(10, 70), false, 10, 53},
		{"fault of another day", danger{onset: at(50), end: at(80)}, hoursSpan(10, 20), false, 47, 53},
		{"fault still to come", danger{onset: at(50), end: at(80)}, hoursSpan(51, 70), true, 47, 53},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got, want := window(row.d, row.fault, row.strict), hoursSpan(row.from, row.till); got != want {
				t.Errorf("got %v to %v, want %v to %v", got.from, got.to, want.from, want.to)
			}
		})
	}
}

func TestStanding(t *testing.T) {
	events := []alarm.Event{
		raised(1, alarm.ClusterChill, alarm.Warning),
		raised(2, alarm.ClusterChill, alarm.Urgent),
		cleared(3, alarm.ClusterChill),
		raised(3.25, alarm.ClusterChill, alarm.Warning), // a quarter of an hour later: the same alarm
		cleared(4, alarm.ClusterChill),
		raised(5, alarm.CheckNest, alarm.Notice),                                             // still on at the end
		{Time: at(6), Name: alarm.ClusterChill, State: alarm.Raised, Severity: alarm.Urgent}, // of no nest
	}
	for _, row := range []struct {
		name  string
		least alarm.Severity
		names []alarm.Name
		want  []span
		rises int
	}{
		{"every chill", alarm.Notice, []alarm.Name{alarm.ClusterChill}, []span{hoursSpan(1, 4)}, 3},
		{"urgent alone", alarm.Urgent, []alarm.Name{alarm.ClusterChill}, []span{hoursSpan(2, 3)}, 1},
		{"two names", alarm.Notice, []alarm.Name{alarm.ClusterChill, alarm.CheckNest}, []span{hoursSpan(1, 4), hoursSpan(5, 10)}, 3},
		{"a notice is no warning", alarm.Warning, []alarm.Name{alarm.CheckNest}, nil, 0},
	} {
		t.Run(row.name, func(t *testing.T) {
			got := standing(events, at(10), row.least, row.names...)
			if len(got) != len(row.want) {
				t.Fatalf("got %d alarms, want %d", len(got), len(row.want))
			}
			for i := range got {
				if got[i].span != row.want[i] {
					t.Errorf("alarm %d is %v, want %v", i, got[i].span, row.want[i])
				}
			}
			if len(got) > 0 && len(got[0].rises) != row.rises {
				t.Errorf("the first rose %d times, want %d", len(got[0].rises), row.rises)
			}
		})
	}
}

// TestMeasure scores one litter whose figures were worked out by hand.
//
// Ten days after birth, with a deep chill from hour 50 to 60 and a mild one from 200 to 201: excused are 47-61 and 197-202, so
// that 240 - 14 - 5 = 221 h are clean.
func TestMeasure(t *testing.T) {
	r := lived(
		raised(-10, alarm.ClusterChill, alarm.Warning), // before birth
		cleared(-8, alarm.ClusterChill),
		raised(20, alarm.ClusterChill, alarm.Warning), // false, grows urgent
		raised(21, alarm.ClusterChill, alarm.Urgent),
		cleared(23, alarm.ClusterChill),                 // stood 3 clean hours
		raised(46, alarm.ClusterChill, alarm.Warning),   // false: an hour before the window, and urgent only inside
		raised(48, alarm.ClusterChill, alarm.Urgent),    // stands at the onset
		cleared(62, alarm.ClusterChill),                 // 1 h before and 1 h after the excuse are clean
		raised(200.5, alarm.ClusterChill, alarm.Notice), // found half an hour late
		cleared(201.5, alarm.ClusterChill),
	)
	r.chills = []danger{{onset: at(50), end: at(60), deep: true}, {onset: at(200), end: at(201)}}
	s := measure(said("chill", oneProbe, alarm.Notice, alarm.ClusterChill), []*record{r}, chillsOf, nil)
	ints := []struct {
		name      string
		got, want int
	}{
		{"dangers", s.strict.n, 2},
		{"found", s.strict.hit, 2},
		{"before onset", s.strict.before, 1},
		{"stood", s.strict.stood, 1},
		{"deep", s.deep.n, 1},
		{"deep found", s.deep.hit, 1},
		{"false urgent", s.wrong[alarm.Urgent], 1},
		{"false warning", s.wrong[alarm.Warning], 1},
		{"false notice", s.wrong[alarm.Notice], 0},
		{"before birth", s.early[alarm.Warning], 1},
	}
	for _, c := range ints {
		if c.got != c.want {
			t.Errorf("%s: %d, want %d", c.name, c.got, c.want)
		}
	}
	clean := 221.0 / 168 // weeks
	floats := []struct {
		name      string
		got, want float64
	}{
		{"clean weeks", s.cleanWeeks(), clean},
		{"false a week", s.rate().value, 2 / clean},
		{"urgent a week", s.urgents().value, 1 / clean},
		{"share standing", s.standingShare(), 5.0 / 221},
		{"lead of the late one", s.strict.edges[0], -30},
		{"lead of the standing one", s.strict.leads[0], 0},
		// The deep chill's window is 47-53: 6 h in which 2/221 alarms an hour come, beside the 5 of 221 h that one stands.
		{"chance", s.chance(&s.deep), 1 - (1-5.0/221)*math.Exp(-2.0/221*6)},
	}
	for _, c := range floats {
		if math.Abs(c.got-c.want) > 1e-9 {
			t.Errorf("%s: %v, want %v", c.name, c.got, c.want)
		}
	}
}

func TestMeasureExcuses(t *testing.T) {
	one := func(change func(r *record), h float64) int {
		r := lived(raised(h, alarm.ClusterChill, alarm.Warning), cleared(h+0.1, alarm.ClusterChill))
		change(r)
		s := measure(said("", oneProbe, alarm.Notice, alarm.ClusterChill), []*record{r}, chillsOf, nil)
		return s.wrong[alarm.Warning]
	}
	scenario := func(r *record) { r.scenario, r.fault = "wet", hoursSpan(100, 110) }
	cooked := func(r *record) { r.died, r.killedByHeat = at(100), true }
	dead := func(r *record) { r.died = at(100) }
	broken := func(r *record) { r.probes[0] = instrument{"stuck", hoursSpan(100, 110)} }
	for _, row := range []struct {
		name   string
		change func(*record)
		hour   float64
		want   int
	}{
		{"before a scenario", scenario, 99, 1},
		{"in a scenario", scenario, 105, 0},
		{"within the hour after", scenario, 110.5, 0},
		{"later", scenario, 111.5, 1},
		{"after death by heat", cooked, 200, 0},
		{"after another death without a truth", dead, 200, 1},
		{"a stuck probe excuses nothing", broken, 105, 1},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got := one(row.change, row.hour); got != row.want {
				t.Errorf("%d false, want %d", got, row.want)
			}
		})
	}
}

func TestMissed(t *testing.T) {
	r := lived(raised(40, alarm.ClusterChill, alarm.Warning), cleared(49.9, alarm.ClusterChill))
	r.chills = []danger{{onset: at(50), end: at(60)}}
	s := measure(said("", oneProbe, alarm.Notice, alarm.ClusterChill), []*record{r}, chillsOf, nil)
	if s.strict.hit != 0 {
		t.Error("an alarm that began before the window and ended before the onset was taken for a hit")
	}
	r.scenario, r.fault = "starve", hoursSpan(39, 110)
	s = measure(said("", oneProbe, alarm.Notice, alarm.ClusterChill), []*record{r}, chillsOf, nil)
	if s.strict.hit != 0 || s.wide.hit != 1 {
		t.Errorf("strict %d, wide %d; want 0 and 1: the wide window begins with the fault", s.strict.hit, s.wide.hit)
	}
}

// TestIntervals checks Wilson's interval against the figures in Brown, Cai & DasGupta-style tables for 8 of 10 and 0 of 10 (0.490
// to 0.943 and 0 to 0.278, from memory), and the rate's against arithmetic on paper.
func TestIntervals(t *testing.T) {
	for _, row := range []struct {
		name                    string
		got                     ratio
		value, low, high, close float64
	}{
		{"8 of 10", wilson(8, 10), 0.8, 0.490, 0.943, 0.0006},
		{"0 of 10", wilson(0, 10), 0, 0, 0.278, 0.0006},
		// Two litters of a week, 2 and 0 alarms: rate 1, residuals 1 and -1, half width 1.96·√2/2.
		{"2 and 0 a week", byLitter([]float64{2, 0}, []time.Duration{week, week}), 1, 0, 2.3859, 0.0001},
		{"none in 6 weeks", byLitter([]float64{0, 0}, []time.Duration{2 * week, 4 * week}), 0, 0, 0.5, 1e-9},
	} {
		t.Run(row.name, func(t *testing.T) {
			for _, d := range []float64{row.got.value - row.value, row.got.low - row.low, row.got.high - row.high} {
				if math.Abs(d) > row.close {
					t.Errorf("got %+v, want %v [%v-%v]", row.got, row.value, row.low, row.high)
				}
			}
		})
	}
}

func TestLabels(t *testing.T) {
	type part struct {
		until, core float64 // h, °C
		dead        bool
	}
	for _, row := range []struct {
		name        string
		from        float64 // h after birth
		parts       []part
		chill, heat []danger
	}{
		{"cold for 29 min", 24, []part{{25, 37, false}, {25.48, 32, false}, {27, 37, false}}, nil, nil},
		{"cold for an hour, not deep", 24, []part{{25, 37, false}, {26, 32, false}, {26.5, 33.5, false}, {27, 37, false}}, []danger{{onset: at(25), end: at(26.5)}}, nil},
		{"deep", 24, []part{{25, 37, false}, {26, 32, false}, {27, 27.9, false}, {28, 37, false}}, []danger{{onset: at(25), end: at(27), deep: true}}, nil},
		{"wet kits of the first hour", 0, []part{{1, 32, false}, {1.4, 32, false}, {3, 37, false}}, nil, nil},
		{"30.5 is cold on day 6", 6 * 24, []part{{6*24 + 1, 30.5, false}, {6*24 + 2, 37, false}}, []danger{{onset: at(6 * 24), end: at(6*24 + 1)}}, nil},
		{"and not on day 8", 8 * 24, []part{{8*24 + 1, 30.5, false}, {8*24 + 2, 37, false}}, nil, nil},
		{"hot for 9 min", 24, []part{{25, 38, false}, {25.15, 40.5, false}, {26, 38, false}}, nil, nil},
		{"hot for half an hour", 24, []part{{25, 38, false}, {25.5, 40.5, false}, {26, 39.7, false}, {27, 38, false}}, nil, []danger{{onset: at(25), end: at(26)}}},
		{"killed by heat, and cold then", 24, []part{{25, 41, false}, {25.5, 43.6, true}, {28, 20, true}}, nil, []danger{{onset: at(24), end: at(25.5)}}},
		{"died of cold, and warm by day", 24, []part{{25, 37, false}, {26, 7, true}, {30, 36, true}, {34, 20, true}}, []danger{{onset: at(25), end: at(34), deep: true}}, nil},
		{"killed by heat while chilled", 24, []part{{25, 32, false}, {26, 43.6, true}, {28, 20, true}}, []danger{{onset: at(24), end: at(25)}}, []danger{{onset: at(25), end: at(26)}}},
		{"died, and cold to the end", 24, []part{{25, 37, true}, {28, 20, true}}, []danger{{onset: at(25), end: at(28), deep: true}}, nil},
	} {
		t.Run(row.name, func(t *testing.T) {
			l := labels{born: birth}
			now := at(row.from)
			for _, p := range row.parts {
				for ; now.Before(at(p.until)); now = now.Add(poll) {
					l.see(simulated.Truth{Time: now, Core: p.core, Kits: 6, Age: now.Sub(birth).Hours() / 24, Alive: !p.dead})
				}
			}
			l.close(now)
			same(t, "chill", l.chills, row.chill)
			same(t, "heat", l.hots, row.heat)
		})
	}
}

// same compares dangers to within two polls.
func same(t *testing.T, what string, got, want []danger) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: got %v, want %v", what, got, want)
	}
	for i, g := range got {
		w := want[i]
		if g.onset.Sub(w.onset).Abs() > 2*poll || g.end.Sub(w.end).Abs() > 2*poll || g.deep != w.deep {
			t.Errorf("%s: got %v, want %v", what, g, w)
		}
	}
}
