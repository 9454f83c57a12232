package main

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

// The cases of this file are readings built by hand, one every 30 s, that go through the judge of the daemon. Nothing in them comes
// from a simulated nest; what each is held against stands beside it.

// caseStart is a winter's midnight.
var caseStart = time.Date(2031, time.January, 10, 0, 0, 0, 0, time.UTC)

// bred is a litter bred so many days before the course begins, not kindled.
func bred(days int) []litter.Litter {
	return []litter.Litter{{ID: 1, Nest: "oak", Bred: caseStart.AddDate(0, 0, -days)}}
}

// kits are eight that were born so many days before the course begins.
func kits(days int) []litter.Litter {
	born := caseStart.AddDate(0, 0, -days)
	return []litter.Litter{{ID: 1, Nest: "oak", Bred: born.AddDate(0, 0, -31), Kindled: born, Born: 8}}
}

// course is what the probes of one nest read. The functions take minutes, in halves; NaN is no answer.
type course struct {
	hours    int
	litters  []litter.Litter
	cluster  func(m float64) float64
	air      func(m float64) float64
	humidity func(m float64) float64
	outside  func(m float64) float64
	damp     func(m float64) float64                 // humidity outside
	clock    func(m float64, at time.Time) time.Time // what the wall clock says; nil where it goes right
	swapped  map[string]string                       // probes that were confused at the installation
}

// lived is what came of a course.
type lived struct {
	events  []alarm.Event
	tracker *sensors.Tracker
}

func (c course) live(t *testing.T) lived {
	t.Helper()
	both := []sensors.Quantity{sensors.Temperature, sensors.Humidity}
	cfg := thresholds.Config{
		Location: time.UTC, Poll: 30 * time.Second, Outside: "shade", Limits: brood.DefaultTables(),
		Nests: []nest.Config{{ID: "oak", Kind: brood.WoodenBox, Cluster: []string{"cluster"}, Air: "air"}},
		Probes: []sensors.Probe{
			{ID: "cluster", Quantities: both[:1], Chip: sensors.ChipDS18B20}, {ID: "air", Quantities: both}, {ID: "shade", Quantities: both},
		},
	}
	for i := range cfg.Probes {
		cfg.Probes[i].Interval, cfg.Probes[i].StaleAfter = cfg.Poll, sensors.DefaultStaleAfter(cfg.Poll)
	}
	j, err := newJudge(cfg)
	if err != nil {
		t.Fatal(err)
	}
	j.rabbitry.SetLitters(c.litters, caseStart)
	out := lived{tracker: j.tracker}
	for half := range c.hours * 120 {
		m := float64(half) / 2
		at := caseStart.Add(time.Duration(half) * 30 * time.Second)
		if c.clock != nil {
			at = c.clock(m, at)
		}
		var poll []sensors.Reading
		for _, p := range []struct {
			probe string
			q     sensors.Quantity
			f     func(float64) float64
		}{
			{"cluster", sensors.Temperature, c.cluster},
			{"air", sensors.Temperature, c.air},
			{"air", sensors.Humidity, c.humidity},
			{"shade", sensors.Temperature, c.outside},
			{"shade", sensors.Humidity, c.damp},
		} {
			if p.f == nil {
				continue
			}
			reading := sensors.Reading{Probe: p.probe, Quantity: p.q, Time: at, Value: p.f(m)}
			if other, is := c.swapped[p.probe]; is && p.q == sensors.Temperature {
				reading.Probe = other
			}
			if math.IsNaN(reading.Value) {
				reading.Value, reading.Fault = 0, sensors.NoAnswer
			}
			poll = append(poll, reading)
		}
		out.events = append(out.events, j.observe(at, poll)...)
	}
	return out
}

// first is the first event of that name, state and severity or above, and how many minutes after the start it came.
func (l lived) first(name alarm.Name, state alarm.State, atLeast alarm.Severity) (e alarm.Event, minute float64, found bool) {
	for _, e := range l.events {
		if e.Name == name && e.State == state && e.Severity >= atLeast {
			return e, e.Time.Sub(caseStart).Minutes(), true
		}
	}
	return alarm.Event{}, 0, false
}

// count is how often that was raised, cleared or noted, at the severity or above.
func (l lived) count(name alarm.Name, state alarm.State, atLeast alarm.Severity) (n int) {
	for _, e := range l.events {
		if e.Name == name && e.State == state && e.Severity >= atLeast {
			n++
		}
	}
	return n
}

// none fails for each of these that was raised or noted.
func (l lived) none(t *testing.T, names ...alarm.Name) {
	t.Helper()
	for _, name := range names {
		for _, state := range []alarm.State{alarm.Raised, alarm.Noted} {
			if e, minute, found := l.first(name, state, alarm.Notice); found {
				t.Errorf("%s after %.0f min: %s", name, minute, e.Text)
			}
		}
	}
}

// around is a value with the noise of a probe: steps of 1/16 °C (DS18B20 datasheet, 12 bit), and a dither that never stands still.
func around(v float64) func(m float64) float64 {
	return func(m float64) float64 { return coded(v + 0.09*math.Sin(3.4*m)) }
}

func coded(v float64) float64 { return math.Round(v*16) / 16 }

func still(v float64) func(m float64) float64 { return func(float64) float64 { return v } }

// from is before up to a minute and after from there on; after takes the minutes since.
func from(minute float64, before, after func(m float64) float64) func(m float64) float64 {
	return func(m float64) float64 {
		if m < minute {
			return before(m)
		}
		return after(m - minute)
	}
}

// during is usual but for some minutes, which take those since they began.
func during(minute, lasts float64, inside, usual func(m float64) float64) func(m float64) float64 {
	return from(minute, usual, func(m float64) float64 {
		if m < lasts {
			return inside(m)
		}
		return usual(m + minute)
	})
}

// falling is Newton's law of cooling.
func falling(high, low, tau float64) func(m float64) float64 {
	return func(m float64) float64 { return coded(low + (high-low)*math.Exp(-m/tau) + 0.09*math.Sin(3.4*m)) }
}

// A reading of exactly 85 °C is a DS18B20 that was switched on and did not convert (datasheet, table 1).
func TestPowerOnCode(t *testing.T) {
	long(t)
	for name, lasts := range map[string]float64{"alone": 0.5, "in bursts of two minutes": 2, "in bursts of ten minutes": 10} {
		t.Run(name, func(t *testing.T) {
			codes := func(usual func(float64) float64) func(float64) float64 {
				return func(m float64) float64 {
					if math.Mod(m, 60) < lasts {
						return 85
					}
					return usual(m)
				}
			}
			l := course{hours: 8, litters: kits(3), cluster: codes(around(34)), air: codes(around(22)), outside: around(18)}.live(t)
			l.none(t, alarm.NestHeat, alarm.ClusterHeat, alarm.HeatExpected)
			for _, h := range l.tracker.Health() {
				if want := uint64(8 * 2 * lasts); h.Probe != "shade" && h.Rejected[sensors.NotConverted] != want {
					t.Errorf("%s: %d rejected, want %d", h.Probe, h.Rejected[sensors.NotConverted], want)
				}
			}
		})
	}
}

// Three samples of nonsense change no decision, and a level that stays is a level: kits of a few grams each and the air round them do
// change by 15 °C and back within 90 s in no nest. A level over the urgent limit is a call after that limit's 10 min, and the screen's
// own doubt costs a sample or two.
func TestSpikeAndStep(t *testing.T) {
	long(t)
	quiet := course{hours: 8, litters: kits(3), cluster: around(34), air: around(22), outside: around(18)}
	for name, by := range map[string]float64{"up": 15, "down": -15} {
		t.Run("three samples of the cluster "+name, func(t *testing.T) {
			c := quiet
			c.cluster = during(240, 1.5, around(34+by), around(34))
			sameEvents(t, c.live(t).events, quiet.live(t).events)
		})
	}
	t.Run("three samples of nest air up", func(t *testing.T) {
		c := quiet
		c.air = during(240, 1.5, around(37), around(22))
		sameEvents(t, c.live(t).events, quiet.live(t).events)
	})
	t.Run("three samples of nest air down, below the air outside", func(t *testing.T) {
		c := quiet
		c.air = during(240, 1.5, around(7), around(22))
		sameEvents(t, c.live(t).events, quiet.live(t).events)
	})
	t.Run("a step of nest air", func(t *testing.T) {
		c := quiet
		c.air = from(240, around(22), around(36))
		if _, minute, found := c.live(t).first(alarm.NestHeat, alarm.Raised, alarm.Urgent); !found || minute < 250 || minute > 253 {
			t.Errorf("urgent: %v, after %.0f min; want it 10 min after the step at 240", found, minute)
		}
	})
	t.Run("a step of the cluster", func(t *testing.T) {
		c := quiet
		c.cluster = from(240, around(34), around(41))
		if _, minute, found := c.live(t).first(alarm.ClusterHeat, alarm.Raised, alarm.Urgent); !found || minute < 250 || minute > 253 {
			t.Errorf("urgent: %v, after %.0f min; want it 10 min after the step at 240", found, minute)
		}
	})
}

func sameEvents(t *testing.T, got, want []alarm.Event) {
	t.Helper()
	for i := range max(len(got), len(want)) {
		switch {
		case i >= len(got):
			t.Errorf("missing: %s %s", want[i].Name, want[i].State)
		case i >= len(want):
			t.Errorf("too many: %s %s at %s: %s", got[i].Name, got[i].State, got[i].Time, got[i].Text)
		case got[i] != want[i]:
			t.Errorf("%s %s at %s, want %s %s at %s", got[i].Name, got[i].State, got[i].Time, want[i].Name, want[i].State, want[i].Time)
			return
		}
	}
}

// A probe that shows one code for hours while the air beside it swings by far more than its step (1/16 °C, DS18B20 datasheet) does not
// measure. While the air stands still, it may well be right.
func TestStuckProbe(t *testing.T) {
	long(t)
	frozen := from(120, around(33), still(33.0625))
	moving := func(m float64) float64 { return coded(14 + 5*math.Sin(m/60)) }
	for name, c := range map[string]struct {
		air   func(float64) float64
		hours int
		stuck bool
	}{
		"the air moves":            {moving, 6, true},
		"still air, less than 4 h": {around(14), 5, false},
		"the air moves for 30 min": {from(150, around(14), moving), 3, false},
	} {
		t.Run(name, func(t *testing.T) {
			l := course{hours: c.hours, litters: kits(3), cluster: frozen, air: c.air, outside: around(8)}.live(t)
			e, minute, found := l.first(alarm.ProbeFault, alarm.Raised, alarm.Warning)
			if found != c.stuck || found && e.Probe != "cluster" {
				t.Errorf("probe-fault %v of %q after %.0f min; want %v", found, e.Probe, minute, c.stuck)
			}
		})
	}
}

// What falls to nest air with the lag of a probe in air, 1 to 5 min (DS18B20 in still air, from memory), was pulled out. A covered pile
// that no longer makes heat takes hours: it keeps cooling by Newton's law with the time constant of its mass.
func TestClusterAtNestAir(t *testing.T) {
	long(t)
	const air = 5.0
	nest := course{hours: 20, litters: kits(3), air: around(air), outside: around(-2)}
	for name, tau := range map[string]float64{"4 min": 4, "8 min": 8} {
		t.Run("probe pulled, tau "+name, func(t *testing.T) {
			c := nest
			c.cluster = from(600, around(33), falling(33, air, tau))
			l := c.live(t)
			e, minute, found := l.first(alarm.CheckNest, alarm.Raised, alarm.Notice)
			if !found || !strings.Contains(e.Text, "probe out of the pile") {
				t.Errorf("check-nest %v: %q; want the probe out of the pile", found, e.Text)
			}
			if latest := 600 + 5*tau + 40; minute > latest {
				t.Errorf("after %.0f min, want it 30 min after the two are one, by %.0f", minute, latest)
			}
		})
	}
	for name, tau := range map[string]float64{"2.5 h": 150, "4 h": 240} {
		t.Run("dead litter, tau "+name, func(t *testing.T) {
			c := nest
			c.hours = 40
			c.cluster = from(600, around(33), falling(33, air, tau))
			l := c.live(t)
			if _, minute, found := l.first(alarm.ClusterChill, alarm.Raised, alarm.Urgent); !found || minute > 600+tau*math.Log(28/5.0) {
				t.Errorf("urgent chill %v after %.0f min; want it before the probe is within 5 °C of nest air", found, minute)
			}
			if _, minute, found := l.first(alarm.ClusterChill, alarm.Cleared, alarm.Notice); found {
				t.Errorf("chill is over after %.0f min, and the litter is dead", minute)
			}
		})
	}
}

// A pile that creeps away by a centimetre within the hour leaves its probe 5.3 °C colder at +5 °C outside (computed for eight simulated
// kits and a probe 1 and 2 cm off; not measured), and no kit is any colder for it: a look, no call about cold kits.
func TestPileThatCreepsAway(t *testing.T) {
	long(t)
	for name, course1h := range map[string]func(m float64) float64{
		"in a line":            func(m float64) float64 { return coded(32.6 - 5.3*math.Min(m/60, 1) + 0.09*math.Sin(3.4*m)) },
		"quickly, then slowly": falling(32.6, 27.3, 20),
	} {
		t.Run(name, func(t *testing.T) {
			l := course{hours: 20, litters: kits(5), cluster: from(600, around(32.6), course1h), air: around(5), outside: around(5)}.live(t)
			l.none(t, alarm.ClusterChill)
			if _, _, found := l.first(alarm.CheckNest, alarm.Raised, alarm.Notice); !found {
				t.Error("nobody is asked to look")
			}
		})
	}
}

// A doe nurses for about 3 min (Eur. J. Neurosci. 2009, doi 10.1111/j.1460-9568.2009.06964.x, abstract), and the pile lies covered again
// about 30 min later (Hudson & Distel 1982, Behaviour 79:255, abstract).
func TestNursing(t *testing.T) {
	long(t)
	for name, days := range map[string]int{"2 days old": 2, "6 days old": 6, "10 days old": 10} {
		t.Run(name, func(t *testing.T) {
			l := course{
				hours: 20, litters: kits(days), outside: around(3),
				air: during(700, 4, around(12.6), around(10)),
				cluster: during(702, 32, func(m float64) float64 {
					if m < 2 {
						return coded(34 - 2*m)
					}
					return coded(34 - 4*math.Exp(-(m-2)/10))
				}, around(34)),
			}.live(t)
			l.none(t, alarm.ClusterChill, alarm.Inspection, alarm.CheckNest)
			if n := l.count(alarm.Visit, alarm.Noted, alarm.Notice); n != 1 {
				t.Errorf("%d visits, want one", n)
			}
		})
	}
}

// Whoever lifts a lid lets the air outside in; a doe can only warm the nest. Conservation of energy, no more.
func TestLidOpening(t *testing.T) {
	long(t)
	for name, lasts := range map[string]float64{"3 min": 3, "8 min": 8} {
		t.Run(name, func(t *testing.T) {
			l := course{
				hours: 20, litters: kits(4), outside: around(-5),
				air:     during(700, lasts, around(1), around(10)),
				cluster: during(701, lasts+20, func(m float64) float64 { return coded(34 - 3*math.Exp(-m/10)) }, around(34)),
			}.live(t)
			l.none(t, alarm.Visit, alarm.ClusterChill)
			if n := l.count(alarm.Inspection, alarm.Noted, alarm.Notice); n != 1 {
				t.Errorf("%d inspections, want one", n)
			}
		})
	}
}

// In air of 35 °C a covered pile has almost no gradient left: grown rabbits in it were at 40.5 °C (Lebas et al., FAO). 35.1 °C is a call,
// whatever else is missing; and it is one call, however long the air lingers at the limit on its way back.
func TestHeatWhateverElse(t *testing.T) {
	long(t)
	hot := func(m float64) float64 {
		switch {
		case m < 120:
			return 29 + 0.05*math.Sin(3.4*m)
		case m < 150:
			return 35.1
		case m < 390: // it lingers at the limit, a quarter of an hour above it and as long below
			return 35 + 0.3*math.Sin(m/6)
		}
		return 25 + 0.05*math.Sin(3.4*m)
	}
	jump := func(by time.Duration) func(float64, time.Time) time.Time {
		return func(m float64, at time.Time) time.Time {
			if m < 125 {
				return at
			}
			return at.Add(by)
		}
	}
	for name, c := range map[string]course{
		"the cluster probe is missing":     {litters: kits(2), cluster: still(math.NaN())},
		"the cluster probe gives nonsense": {litters: kits(2), cluster: still(85)},
		"before kindling is known":         {litters: bred(30), cluster: around(31)},
		"no litter entered":                {cluster: around(31)},
		"the clock leaps ten years on":     {litters: bred(30), cluster: around(31), clock: jump(10 * 365 * 24 * time.Hour)},
		"the clock leaps ten years back":   {litters: kits(2), cluster: around(36), clock: jump(-10 * 365 * 24 * time.Hour)},
		"the clock is put back an hour":    {litters: kits(2), cluster: around(36), clock: jump(-time.Hour)},
	} {
		t.Run(name, func(t *testing.T) {
			c.hours, c.air, c.outside = 10, hot, around(24)
			l := c.live(t)
			if raised, cleared := l.count(alarm.NestHeat, alarm.Raised, alarm.Urgent), l.count(alarm.NestHeat, alarm.Cleared, alarm.Notice); raised != 1 || cleared != 1 {
				t.Errorf("urgent %d times, over %d times; want once each", raised, cleared)
			}
		})
	}
}

// Below freezing air holds next to no water, so that no bedding however wet can show in it, and a humidity probe that has frosted over
// shows 100 % for as long as it is wet, through a thaw too. It says nothing of bedding or vents.
func TestFrostedHumidity(t *testing.T) {
	long(t)
	for name, c := range map[string]course{
		"at -15 °C":             {air: around(-13), outside: around(-15)},
		"and on through a thaw": {air: from(24*60, around(-13), around(12)), outside: from(24*60, around(-15), around(4))},
	} {
		t.Run(name, func(t *testing.T) {
			c.hours, c.litters, c.cluster, c.humidity, c.damp = 72, kits(5), around(30), still(100), still(70)
			c.live(t).none(t, alarm.VentilationDue, alarm.BeddingDue, alarm.ToteWet)
		})
	}
}

// A doe that sits in her box before she kindles is as warm as a litter, and goes again. Most kindle on day 31 or 32 (Rashwan, Szendrő et
// al., World Rabbit Science: 31.7 days), so day 30 is when it matters not to be sure too soon.
func TestDoeSitsInTheBox(t *testing.T) {
	long(t)
	for name, lasts := range map[string]float64{"40 min": 40, "150 min": 150} {
		t.Run(name, func(t *testing.T) {
			sits := func(empty, more float64) func(float64) float64 {
				return from(600, around(empty), func(m float64) float64 {
					if m < lasts {
						return coded(empty + more*(1-math.Exp(-m/10)) + 0.09*math.Sin(3.4*m))
					}
					return coded(empty + more*math.Exp(-(m-lasts)/12) + 0.09*math.Sin(3.4*m))
				})
			}
			l := course{hours: 24, litters: bred(30), cluster: sits(6, 22), air: sits(5.5, 3), outside: around(2)}.live(t)
			e, _, found := l.first(alarm.Kindled, alarm.Noted, alarm.Notice)
			if found && (lasts < 60 || !strings.Contains(e.Text, "probably") || !strings.Contains(e.Text, "Look")) {
				t.Errorf("kindled: %s", e.Text)
			}
		})
	}
}

// Two cables that were confused at the installation: what should lie under warm kits reads the weather.
func TestSwappedProbes(t *testing.T) {
	long(t)
	for name, swapped := range map[string]map[string]string{
		"cluster and outside":  {"cluster": "shade", "shade": "cluster"},
		"cluster and nest air": {"cluster": "air", "air": "cluster"},
	} {
		t.Run(name, func(t *testing.T) {
			day := func(mean, swing float64) func(float64) float64 {
				return func(m float64) float64 { return coded(mean + swing*math.Sin(m/229) + 0.09*math.Sin(3.4*m)) }
			}
			l := course{hours: 24, litters: kits(0), cluster: around(34), air: day(9, 3), outside: day(5, 5), swapped: swapped}.live(t)
			_, _, look := l.first(alarm.CheckNest, alarm.Raised, alarm.Notice)
			_, _, fault := l.first(alarm.ProbeFault, alarm.Raised, alarm.Notice)
			if !look && !fault {
				t.Error("nobody is told within a day of kindling")
			}
		})
	}
}
