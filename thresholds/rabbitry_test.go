package thresholds_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

var start = time.Date(2031, time.January, 10, 0, 0, 0, 0, time.UTC)

// trace is one invented course of a nest: what its probes read at each minute. A missing quantity is NaN, one that cannot
// be true is infinite.
type trace struct {
	minutes  int
	kind     brood.Kind
	litters  []litter.Litter
	cluster  func(m int) float64
	air      func(m int) float64
	humidity func(m int) float64
	outside  func(m int) float64
	from     time.Time
	sealed   litter.Date
	looked   int                // the minute at which a person entered that they had looked, 0 for never
	did      map[int]alarm.Name // chores marked done, by the minute
	carried  [2]int             // the minutes at which the nest was carried indoors and back, 0 for never
}

func constant(v float64) func(int) float64 { return func(int) float64 { return v } }

var nothing = constant(math.NaN())

func probes() []sensors.Probe {
	const interval = 30 * time.Second
	t, h := []sensors.Quantity{sensors.Temperature}, []sensors.Quantity{sensors.Temperature, sensors.Humidity}
	return []sensors.Probe{
		{ID: "cluster", Quantities: t, Interval: interval, StaleAfter: sensors.DefaultStaleAfter(interval)},
		{ID: "air", Quantities: h, Interval: interval, StaleAfter: sensors.DefaultStaleAfter(interval)},
		{ID: "shade", Quantities: h, Interval: interval, StaleAfter: sensors.DefaultStaleAfter(interval)},
	}
}

func rabbitry(t testing.TB, kind brood.Kind) *thresholds.Rabbitry {
	t.Helper()
	return made(t, probes(), nest.Config{ID: "oak", Kind: kind, Cluster: []string{"cluster"}, Air: "air"})
}

func (tr trace) run(t testing.TB) (*thresholds.Rabbitry, []alarm.Event) {
	t.Helper()
	if tr.kind == "" {
		tr.kind = brood.WoodenBox
	}
	if tr.from.IsZero() {
		tr.from = start
	}
	r := made(t, probes(), nest.Config{ID: "oak", Kind: tr.kind, Cluster: []string{"cluster"}, Air: "air", Sealed: tr.sealed})
	r.SetLitters(tr.litters, tr.from)
	var events []alarm.Event
	for half := range 2 * tr.minutes {
		at := tr.from.Add(time.Duration(half) * 30 * time.Second)
		if tr.looked > 0 && half == 2*tr.looked {
			if err := r.Done("oak", alarm.InspectDue, at); err != nil {
				t.Fatal(err)
			}
		}
		if chore := tr.did[half/2]; chore != "" && half%2 == 0 {
			nestID := "oak"
			if chore == alarm.SeasonSetupDue {
				nestID = ""
			}
			if err := r.Done(nestID, chore, at); err != nil {
				t.Fatal(err)
			}
		}
		if m := half / 2; tr.carried[0] > 0 && half%2 == 0 && (m == tr.carried[0] || m == tr.carried[1]) {
			book := slices.Clone(tr.litters)
			if book[0].Indoors = at; m == tr.carried[1] {
				book[0].Indoors = time.Time{}
			}
			r.SetLitters(book, at)
		}
		var batch []sensors.Reading
		add := func(probe string, q sensors.Quantity, f func(int) float64) {
			if f == nil {
				return
			}
			r := sensors.Reading{Probe: probe, Quantity: q, Time: at}
			switch v := f(half / 2); {
			case math.IsNaN(v):
				r.Fault = sensors.NoAnswer
			case math.IsInf(v, 0):
				r.Fault = sensors.NotConverted
			default:
				r.Value = q.Quantise(v)
			}
			batch = append(batch, r)
		}
		add("cluster", sensors.Temperature, tr.cluster)
		add("air", sensors.Temperature, tr.air)
		add("air", sensors.Humidity, tr.humidity)
		add("shade", sensors.Temperature, tr.outside)
		events = append(events, r.Observe(at, batch)...)
	}
	return r, events
}

func count(events []alarm.Event, name alarm.Name, state alarm.State, atLeast alarm.Severity) int {
	n := 0
	for _, e := range events {
		if e.Name == name && e.State == state && e.Severity >= atLeast {
			n++
		}
	}
	return n
}

func want(t *testing.T, events []alarm.Event, name alarm.Name, state alarm.State, atLeast alarm.Severity, n int) {
	t.Helper()
	if got := count(events, name, state, atLeast); got != n {
		t.Errorf("%s %s at %s or above: got %d, want %d", name, state, atLeast, got, n)
		for _, e := range events {
			t.Logf("%s %s %s %s %.2f/%.2f %s", e.Time.Format("02 15:04"), e.Name, e.State, e.Severity, e.Value, e.Limit, e.Text)
		}
	}
}

// newborn is a litter of eight kindled some days before the trace begins.
func newborn(days int) []litter.Litter {
	k := start.AddDate(0, 0, -days)
	return []litter.Litter{{ID: 1, Nest: "oak", Bred: k.AddDate(0, 0, -31), Kindled: k, Born: 8}}
}

// dusty is a little noise under a probe's step, so that nothing is ever exactly still.
func dusty(m int) float64 { return 0.06 * math.Sin(float64(m)*1.7) }

func TestHeatNeedsOnlyNestAir(t *testing.T) {
	warm := func(m int) float64 {
		if m >= 120 && m < 180 {
			return 35.1
		}
		return 29 + dusty(m)
	}
	cases := map[string]trace{
		"no cluster probe value, no litter":   {cluster: nothing, air: warm, outside: constant(28)},
		"no outside":                          {cluster: constant(37), air: warm, litters: newborn(2)},
		"cluster stuck":                       {cluster: constant(20), air: warm, litters: newborn(2), outside: constant(28)},
		"before kindling":                     {cluster: warm, air: warm, outside: constant(28), litters: []litter.Litter{{ID: 1, Nest: "oak", Bred: start.AddDate(0, 0, -29)}}},
		"buried tote":                         {kind: brood.BuriedTote, cluster: nothing, air: warm, outside: constant(28)},
		"the night the clocks change, unused": {cluster: nothing, air: warm, outside: constant(28), from: time.Date(2031, 3, 30, 0, 0, 0, 0, time.UTC)},
	}
	for name, tr := range cases {
		t.Run(name, func(t *testing.T) {
			tr.minutes = 300
			_, events := tr.run(t)
			want(t, events, alarm.NestHeat, alarm.Raised, alarm.Urgent, 1)
			want(t, events, alarm.NestHeat, alarm.Cleared, alarm.Notice, 1)
		})
	}
}

func TestHeatWaitsItsDelay(t *testing.T) {
	for name, c := range map[string]struct {
		minutes int
		urgent  int
	}{"9 minutes over the limit": {9, 0}, "12 minutes over the limit": {12, 1}} {
		t.Run(name, func(t *testing.T) {
			_, events := trace{minutes: 200, cluster: nothing, outside: constant(25), air: func(m int) float64 {
				if m >= 100 && m < 100+c.minutes {
					return 35.5
				}
				return 25
			}}.run(t)
			want(t, events, alarm.NestHeat, alarm.Raised, alarm.Urgent, c.urgent)
		})
	}
}

func TestHeatStaysWhenItsProbeDies(t *testing.T) {
	_, events := trace{minutes: 240, outside: constant(33), air: func(m int) float64 {
		if m < 60 {
			return 36
		}
		return math.NaN()
	}}.run(t)
	want(t, events, alarm.NestHeat, alarm.Raised, alarm.Urgent, 1)
	want(t, events, alarm.NestHeat, alarm.Cleared, alarm.Notice, 0)
	want(t, events, alarm.ProbeSilent, alarm.Raised, alarm.Urgent, 1)
}

// The limit is crossed by nine tenths of the deadband to both sides for a day: one alarm at most.
func TestNoChatter(t *testing.T) {
	_, events := trace{minutes: 24 * 60, cluster: nothing, outside: constant(25), air: func(m int) float64 {
		return 30 + 0.9*brood.Deadband*math.Sin(float64(m)/7)
	}}.run(t)
	want(t, events, alarm.NestHeat, alarm.Raised, alarm.Notice, 1)
}

func TestChill(t *testing.T) {
	const air = 5.0
	steady := func(m int) float64 { return air + 0.85*(37.5-air) + dusty(m) }
	fall := func(from int, tau float64) func(int) float64 {
		return func(m int) float64 {
			if m < from {
				return steady(m)
			}
			return air + (steady(from)-air)*math.Exp(-float64(m-from)/tau)
		}
	}
	cases := map[string]struct {
		trace
		chill, check int // raised: chill at warning or above; check-nest, -1 where both answers are right
		noLitter     bool
	}{
		"warm litter, cold night":       {trace: trace{cluster: steady}},
		"dead but covered, tau 100 min": {trace: trace{cluster: fall(600, 100)}, chill: 1, check: -1},
		"dead but covered, tau 300 min": {trace: trace{cluster: fall(600, 300)}, chill: 1, check: -1},
		"nursing dip of half an hour": {trace: trace{cluster: func(m int) float64 {
			if m >= 600 && m < 634 {
				return steady(m) - 4*math.Min(1, float64(634-m)/30)
			}
			return steady(m)
		}}},
		"no litter entered: shown, not judged":     {trace: trace{cluster: constant(5.1)}, noLitter: true},
		"back-stop at a probe that was never warm": {trace: trace{cluster: constant(9)}, chill: 1, check: -1},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			c.minutes, c.air, c.outside = 1400, func(m int) float64 { return air + dusty(m+3) }, constant(-5)
			if !c.noLitter {
				c.litters = newborn(2)
			}
			_, events := c.run(t)
			if got := min(count(events, alarm.ClusterChill, alarm.Raised, alarm.Warning), 1); got != c.chill {
				want(t, events, alarm.ClusterChill, alarm.Raised, alarm.Warning, c.chill)
			}
			if c.check >= 0 {
				want(t, events, alarm.CheckNest, alarm.Raised, alarm.Notice, c.check)
			}
		})
	}
}

func TestProbePulledOutAsksForALook(t *testing.T) {
	r, events := trace{
		minutes: 900, litters: newborn(3), outside: constant(-8),
		air: func(m int) float64 { return -2 + dusty(m) },
		cluster: func(m int) float64 {
			if m < 600 {
				return 33 + dusty(m)
			}
			return -2 + 35*math.Exp(-float64(m-600)/4)
		},
	}.run(t)
	want(t, events, alarm.CheckNest, alarm.Raised, alarm.Urgent, 1) // it is freezing and nothing watches the kits
	for _, j := range r.Snapshot().Nests[0].Judged {
		if j.Danger == "heat" && !j.Judged {
			t.Error("heat must go on being judged")
		}
	}
}

func TestColdWetSaturatedAirGivesNoVerdict(t *testing.T) {
	_, events := trace{
		minutes: 3000, litters: newborn(5), outside: constant(-15),
		cluster: func(m int) float64 { return 31 + dusty(m) }, air: func(m int) float64 { return -12 + dusty(m) }, humidity: constant(100),
	}.run(t)
	want(t, events, alarm.VentilationDue, alarm.Raised, alarm.Notice, 0)
	want(t, events, alarm.ToteWet, alarm.Raised, alarm.Notice, 0)
}

func TestSilentProbe(t *testing.T) {
	cases := map[string]struct {
		outside  float64
		severity alarm.Severity
		raised   int // a notice first, more when the silence lasts
	}{"mild outside": {18, alarm.Warning, 2}, "freezing outside": {-3, alarm.Urgent, 2}, "hot outside": {31, alarm.Urgent, 2}}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			_, events := trace{minutes: 120, litters: newborn(6), outside: constant(c.outside), cluster: constant(34), air: func(m int) float64 {
				if m > 30 {
					return math.NaN()
				}
				return 20
			}}.run(t)
			want(t, events, alarm.ProbeSilent, alarm.Raised, c.severity, 1)
			want(t, events, alarm.ProbeSilent, alarm.Raised, alarm.Notice, c.raised)
		})
	}
}

// A clock that is set ten years on and back while heat lasts moves no delay, even where times carry no monotonic part.
func TestClockJump(t *testing.T) {
	r := rabbitry(t, brood.WoodenBox)
	const years = 10 * 365 * 24 * time.Hour
	var events []alarm.Event
	for half := range 60 {
		at := start.Add(time.Duration(half) * 30 * time.Second)
		if half >= 10 && half < 20 {
			at = at.Add(years)
		} else if half >= 20 {
			at = at.Add(-years)
		}
		events = append(events, r.Observe(at, []sensors.Reading{{Probe: "air", Time: at, Value: 36}})...)
	}
	want(t, events, alarm.NestHeat, alarm.Raised, alarm.Urgent, 1)
	want(t, events, alarm.NestHeat, alarm.Cleared, alarm.Notice, 0)
}

func TestSameReadingsSameEvents(t *testing.T) {
	tr := trace{
		minutes: 4000, litters: newborn(9), outside: func(m int) float64 { return 15 + 15*math.Sin(float64(m)/230) },
		air: func(m int) float64 { return 20 + 16*math.Sin(float64(m)/230) }, cluster: func(m int) float64 { return 33 + 4*math.Sin(float64(m)/300) + dusty(m) },
	}
	_, a := tr.run(t)
	_, b := tr.run(t)
	if len(a) == 0 || !slices.Equal(a, b) {
		t.Errorf("two runs differ, or nothing happened: %d and %d events", len(a), len(b))
	}
}

func BenchmarkObserve(b *testing.B) {
	r := rabbitry(b, brood.WoodenBox)
	r.SetLitters(newborn(3), start)
	at := start
	for i := 0; b.Loop(); i++ {
		at = at.Add(30 * time.Second)
		v := dusty(i)
		r.Observe(at, []sensors.Reading{
			{Probe: "cluster", Time: at, Value: 34 + v},
			{Probe: "air", Time: at, Value: 12 + v},
			{Probe: "air", Quantity: sensors.Humidity, Time: at, Value: 70 + v},
			{Probe: "shade", Time: at, Value: 4 + v},
			{Probe: "shade", Quantity: sensors.Humidity, Time: at, Value: 80 + v},
		})
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/5, "ns/reading")
}

// A nest that nobody entered a litter for is not judged for chill, but when it has been as warm as only kits make it and goes cold, the
// back-stop speaks. A box that was always cold stays silent.
func TestBackStopWithoutALitter(t *testing.T) {
	const air = 5.0
	for name, c := range map[string]struct {
		cluster func(m int) float64
		want    int
	}{
		"was warm for hours, then cold": {func(m int) float64 {
			if m < 400 {
				return 34 + dusty(m)
			}
			return air + 29*math.Exp(-float64(m-400)/40)
		}, 1},
		"a doe sat for an hour": {func(m int) float64 {
			if m < 60 {
				return 31
			}
			return air + dusty(m)
		}, 0},
		"always cold": {func(m int) float64 { return air + dusty(m) }, 0},
	} {
		t.Run(name, func(t *testing.T) {
			_, events := trace{minutes: 900, cluster: c.cluster, air: func(m int) float64 { return air + dusty(m+2) }, outside: constant(0)}.run(t)
			want(t, events, alarm.ClusterChill, alarm.Raised, alarm.Warning, c.want)
		})
	}
}

// A pile that cools fast towards a level between the two chill limits is a warning. Nobody is woken for the critical limit before
// it is near.
func TestFastCoolingAboveTheCriticalLimitWakesNobody(t *testing.T) {
	const air, warm, level = 5.0, 32.6, 25.4 // °C at the probe: cores of about 37.5 and 29
	_, events := trace{
		minutes: 1000, litters: newborn(2), outside: constant(12), air: func(m int) float64 { return air + dusty(m+3) },
		cluster: func(m int) float64 {
			if m < 600 {
				return warm + dusty(m)
			}
			return level + (warm-level)*math.Exp(-float64(m-600)/70)
		},
	}.run(t)
	want(t, events, alarm.ClusterChill, alarm.Raised, alarm.Urgent, 0)
	want(t, events, alarm.ClusterChill, alarm.Raised, alarm.Warning, 1)
}

// A chill is not called over while the pile may still be under the limit itself; but a pile that holds steady warmth for eight hours
// has moved once a person has looked at it, and its new place is learned. Without a look it stays too cold.
func TestChillEndsAtTheLimitItself(t *testing.T) {
	const air = -10.0
	course := func(after float64) func(int) float64 { // °C at the probe: warm, then cooling, then at a level
		return func(m int) float64 {
			switch {
			case m < 600:
				return 30.4 + dusty(m) // a core of 37.3
			case m < 800:
				return air + (30.4-air)*math.Exp(-float64(m-600)/180) + dusty(m)
			}
			return after + dusty(m)
		}
	}
	run := func(after float64, minutes, looked int) []alarm.Event {
		_, events := trace{minutes: minutes, looked: looked, litters: newborn(8), outside: constant(-14), cluster: course(after), air: func(m int) float64 { return air + dusty(m+3) }}.run(t)
		return events
	}
	want(t, run(22.5, 1150, 820), alarm.ClusterChill, alarm.Cleared, alarm.Warning, 0) // a core of about 28: the margin is passed, the limit of 29 is not
	want(t, run(26, 1200, 0), alarm.ClusterChill, alarm.Cleared, alarm.Warning, 1)     // about 32
	want(t, run(22.5, 2000, 820), alarm.ClusterChill, alarm.Cleared, alarm.Warning, 1) // steady for eight hours after a look
	want(t, run(22.5, 2000, 0), alarm.ClusterChill, alarm.Cleared, alarm.Warning, 0)   // as steady, and nobody looked
}
