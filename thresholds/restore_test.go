package thresholds_test

import (
	"math"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/nest"
)

// stood is an alarm of the nest that stood when the state was stored.
func stood(name alarm.Name, severity alarm.Severity) []alarm.Standing {
	return []alarm.Standing{{Event: alarm.Event{
		Time: start.Add(-time.Hour), Since: start.Add(-2 * time.Hour), Nest: "oak", Name: name, State: alarm.Raised, Severity: severity, Text: "stored words",
	}}}
}

// A daemon that starts without the last day's readings keeps what stood until its rule has had time to raise it again: nothing is over
// because the daemon has forgotten when it began, and nothing is told twice.
func TestRestoredAlarmWaitsForItsRule(t *testing.T) {
	for name, c := range map[string]struct {
		alarm    []alarm.Standing
		air      func(m int) float64
		cluster  float64
		cleared  int
		standing int
	}{
		"still hot":             {stood(alarm.NestHeat, alarm.Urgent), constant(36), 37, 0, 1},
		"still chilled":         {stood(alarm.ClusterChill, alarm.Urgent), constant(5), 16, 0, 1},
		"probe still in air":    {stood(alarm.CheckNest, alarm.Notice), constant(18), 18.2, 0, 1},
		"cool again":            {stood(alarm.NestHeat, alarm.Urgent), constant(20), 36, 1, 0},
		"nothing can be read":   {stood(alarm.NestHeat, alarm.Urgent), nothing, 36, 0, 1},
		"silent, answers again": {stood(alarm.ProbeSilent, alarm.Warning), constant(20), 36, 1, 0},
		"silent, and still is":  {stood(alarm.ProbeSilent, alarm.Warning), nothing, 36, 0, 1},
	} {
		t.Run(name, func(t *testing.T) {
			r := rabbitry(t, brood.WoodenBox)
			r.SetLitters(newborn(5), start)
			r.Restore(c.alarm)
			events := trace{minutes: 120, air: c.air, cluster: constant(c.cluster), outside: constant(15)}.through(r)
			name := c.alarm[0].Name
			want(t, events, name, alarm.Raised, c.alarm[0].Severity, 0)
			want(t, events, name, alarm.Cleared, alarm.Notice, c.cleared)
			n := 0
			for _, st := range r.Standing() {
				if st.Name == name {
					n++
				}
			}
			if n != c.standing {
				t.Errorf("%d stand, want %d", n, c.standing)
			}
		})
	}
}

// Hours for which the daemon was off in a freeze are no silence of its probes; a probe that does not answer afterwards is.
func TestTimeOffIsNoSilence(t *testing.T) {
	for name, c := range map[string]struct {
		air    func(m int) float64
		urgent int
	}{"all answer again": {constant(20), 0}, "one does not": {nothing, 1}} {
		t.Run(name, func(t *testing.T) {
			r := rabbitry(t, brood.WoodenBox)
			r.SetLitters(newborn(5), start)
			tr := trace{minutes: 60, air: constant(20), cluster: constant(36), outside: constant(-5)}
			tr.through(r)
			r.Restore(nil)
			tr.from, tr.air = start.Add(4*time.Hour), c.air
			events := tr.through(r)
			want(t, events, alarm.ProbeSilent, alarm.Raised, alarm.Urgent, c.urgent)
			want(t, events, alarm.ProbeSilent, alarm.Raised, alarm.Notice, 2*c.urgent) // a notice first
		})
	}
}

// Each part that fails is told, also while another has failed before, and a fault of the last run stands until it is known to be over.
func TestFaultsAreToldOneByOne(t *testing.T) {
	r := rabbitry(t, brood.WoodenBox)
	r.Restore([]alarm.Standing{{Event: alarm.Event{Name: alarm.BusFault, State: alarm.Raised, Severity: alarm.Warning, Text: "bus one"}}})
	step := func(m int) []alarm.Event {
		return append([]alarm.Event{}, r.Observe(start.Add(time.Duration(m)*time.Minute), nil)...)
	}
	step(0)
	var events []alarm.Event
	for m := 1; m < 5; m++ {
		events = append(events, step(m)...)
	}
	want(t, events, alarm.BusFault, alarm.Cleared, alarm.Notice, 0)
	r.Fault(alarm.BusFault, alarm.Condition{Severity: alarm.Warning, Since: start, Count: 1}, "bus one")
	events = append(events, step(5)...)
	r.Fault(alarm.BusFault, alarm.Condition{Severity: alarm.Warning, Since: start, Count: 2}, "bus one, bus two")
	events = append(events, step(6)...)
	want(t, events, alarm.BusFault, alarm.Raised, alarm.Warning, 1)
	r.Fault(alarm.BusFault, alarm.Condition{Severity: alarm.Warning, Since: start, Count: 1}, "bus two")
	events = append(events, step(7)...)
	if st := r.Standing(); len(st) != 1 || st[0].Text != "bus two" {
		t.Errorf("what stands does not say what fails now: %v", st)
	}
	r.Fault(alarm.BusFault, alarm.Condition{Sure: true}, "")
	events = append(events, step(8)...)
	want(t, events, alarm.BusFault, alarm.Cleared, alarm.Warning, 1)
}

// The weeks before today make the season and say whether a doe is used to heat; a chore that was done is not asked for again.
func TestWeatherOfThePast(t *testing.T) {
	past := func(low, high float64) (days []nest.Day) {
		for i := range 30 {
			b := start.AddDate(0, 0, i-30)
			days = append(days, nest.Day{Begin: b, End: b.AddDate(0, 0, 1), Lowest: low, Highest: high})
		}
		return days
	}
	winter := trace{minutes: 100, air: constant(5), cluster: nothing, outside: constant(1)}
	r := rabbitry(t, brood.WoodenBox)
	winter.through(r)
	r.Weather(past(-3, 4))
	if err := r.Done("", alarm.SeasonSetupDue, start.AddDate(0, 0, -10)); err != nil {
		t.Fatal(err)
	}
	winter.from = start.Add(2 * time.Hour)
	events := winter.through(r)
	if s := r.Snapshot().Season; s != brood.Winter {
		t.Errorf("season %s", s)
	}
	want(t, events, alarm.SeasonSetupDue, alarm.Raised, alarm.Notice, 0)

	// 33 °C in dry air: an index of 28.5, a dry bulb that only a doe not used to heat must be got out of.
	hot := trace{minutes: 60, air: constant(25), cluster: nothing, outside: constant(33)}
	for name, c := range map[string]struct {
		high   float64
		urgent int
	}{"new to heat": {15, 1}, "used to it": {32, 0}} {
		t.Run(name, func(t *testing.T) {
			r := rabbitry(t, brood.WoodenBox)
			r.Weather(past(14, c.high))
			var events []alarm.Event
			for half := range 2 * hot.minutes {
				at := start.Add(time.Duration(half) * 30 * time.Second)
				events = append(events, r.Observe(at, []sensors.Reading{
					{Probe: "shade", Time: at, Value: 33}, {Probe: "shade", Quantity: sensors.Humidity, Time: at, Value: 20},
				})...)
			}
			want(t, events, alarm.DoeHeat, alarm.Raised, alarm.Urgent, c.urgent)
		})
	}
}

// What is not judged is said, danger by danger, and nothing is called judged that no probe can tell.
func TestJudgedSaysWhatIsNot(t *testing.T) {
	both := nest.Config{ID: "oak", Kind: brood.WoodenBox, Cluster: []string{"cluster"}, Air: "air"}
	airOnly, clusterOnly := both, both
	airOnly.Cluster, clusterOnly.Air = nil, ""
	for name, c := range map[string]struct {
		nest  nest.Config
		age   int
		trace trace
		want  map[string]bool
	}{
		"all there":              {both, 5, trace{air: constant(15), cluster: constant(33)}, map[string]bool{"heat": true, "chill": true, "cold": true}},
		"air probe silent":       {both, 5, trace{air: nothing, cluster: constant(33)}, map[string]bool{"heat": true, "chill": false, "cold": false}},
		"cluster probe silent":   {both, 5, trace{air: constant(15), cluster: nothing}, map[string]bool{"heat": true, "chill": false, "cold": true}},
		"both silent":            {both, 5, trace{air: nothing, cluster: nothing}, map[string]bool{"heat": false, "chill": false, "cold": false}},
		"no cluster probe":       {airOnly, 5, trace{air: constant(15)}, map[string]bool{"heat": true, "chill": false, "cold": true}},
		"no air probe":           {clusterOnly, 5, trace{cluster: constant(33)}, map[string]bool{"heat": true, "chill": false, "cold": false}},
		"no air probe, day 30":   {clusterOnly, 30, trace{cluster: constant(33)}, map[string]bool{"heat": false, "chill": false, "cold": false}},
		"litter of unknown date": {both, -1, trace{air: constant(15), cluster: constant(33)}, map[string]bool{"heat": true, "chill": false, "cold": false}},
	} {
		t.Run(name, func(t *testing.T) {
			r := made(t, probes(), c.nest)
			if c.age >= 0 {
				r.SetLitters(newborn(c.age), start)
			}
			c.trace.minutes, c.trace.outside = 60, constant(15)
			c.trace.through(r)
			got := map[string]bool{}
			for _, j := range r.Snapshot().Nests[0].Judged {
				got[j.Danger] = j.Judged
				if !j.Judged && j.Why == "" {
					t.Errorf("%s is not judged, and nothing says why", j.Danger)
				}
			}
			for danger, judged := range c.want {
				if is, ok := got[danger]; !ok || is != judged {
					t.Errorf("%s: judged %v (told of: %v), want %v", danger, is, ok, judged)
				}
			}
		})
	}
}

// through runs the trace through a rabbitry that exists already.
func (tr trace) through(r *thresholds.Rabbitry) (events []alarm.Event) {
	if tr.from.IsZero() {
		tr.from = start
	}
	for half := range 2 * tr.minutes {
		at := tr.from.Add(time.Duration(half) * 30 * time.Second)
		var batch []sensors.Reading
		for _, p := range []struct {
			probe string
			value func(int) float64
		}{{"cluster", tr.cluster}, {"air", tr.air}, {"shade", tr.outside}} {
			if p.value == nil {
				continue
			}
			v := p.value(half / 2)
			warmth := sensors.Reading{Probe: p.probe, Time: at, Value: v}
			damp := sensors.Reading{Probe: p.probe, Quantity: sensors.Humidity, Time: at, Value: 60}
			if math.IsNaN(v) {
				warmth.Value, warmth.Fault, damp.Fault = 0, sensors.NoAnswer, sensors.NoAnswer
			}
			if batch = append(batch, warmth); p.probe == "air" {
				batch = append(batch, damp)
			}
		}
		events = append(events, r.Observe(at, batch)...)
	}
	return events
}

// A start after days without readings knows the visits that were seen before, and misses the ones that do not come.
func TestVisitsAreRecalled(t *testing.T) {
	r := rabbitry(t, brood.WoodenBox)
	r.SetLitters(newborn(5), start)
	var past []alarm.Event
	for _, ago := range []time.Duration{84 * time.Hour, 60 * time.Hour} {
		past = append(past, alarm.Event{Nest: "oak", Name: alarm.Visit, State: alarm.Noted, Time: start.Add(-ago), Since: start.Add(-ago - 28*time.Minute)})
	}
	r.Recall(past)
	events := trace{minutes: 58 * 60, air: func(m int) float64 { return 12 + dusty(m) }, cluster: func(m int) float64 { return 33 + dusty(m+2) }, outside: constant(9)}.through(r)
	want(t, events, alarm.VisitOverdue, alarm.Raised, alarm.Warning, 1)
}

// What was stored beside the alarms that were on, because nobody has seen them or no call is wanted for them, is the panel's: no rule
// takes it for its own, and none that remembers to have been on goes on being so.
func TestWhatWasNotOnIsNotRestored(t *testing.T) {
	over := func(nest string, name alarm.Name) alarm.Standing {
		st := stood(name, alarm.Urgent)[0]
		st.Nest, st.Over, st.Status = nest, start.Add(-time.Minute), alarm.Returned
		return st
	}
	never := func(nest string, name alarm.Name, s alarm.Status) alarm.Standing {
		return alarm.Standing{Event: alarm.Event{Nest: nest, Name: name}, Status: s}
	}
	quiet := []alarm.Standing{
		over("oak", alarm.NestHeat), over("oak", alarm.ProbeSilent), over("oak", alarm.ClusterChill), over("", alarm.ProbeSilent), over("", alarm.DoeHeat),
		over("", alarm.BusFault), never("oak", "", alarm.Shelved), never("", "", alarm.OutOfService), never("oak", alarm.ToteWet, alarm.Shelved),
		never("oak", alarm.CheckNest, alarm.Suppressed), never("", alarm.SinkFault, alarm.OutOfService),
	}
	for name, restore := range map[string]func() *thresholds.Rabbitry{
		"restored": func() *thresholds.Rabbitry {
			r := rabbitry(t, brood.WoodenBox)
			r.SetLitters(newborn(5), start)
			r.Restore(quiet)
			return r
		},
		"resumed": func() *thresholds.Rabbitry {
			r := rabbitry(t, brood.WoodenBox)
			r.SetLitters(newborn(5), start)
			trace{minutes: 30, air: constant(20), cluster: constant(36), outside: constant(15)}.through(r)
			return again(t, r, quiet)
		},
		"resumed, and it had been hot": func() *thresholds.Rabbitry {
			r := rabbitry(t, brood.WoodenBox)
			r.SetLitters(newborn(5), start)
			trace{minutes: 30, air: constant(36), cluster: constant(36), outside: constant(15)}.through(r)
			if !alarm.Find(r.Standing(), "oak", alarm.NestHeat).On() {
				t.Fatal("36 °C are no alarm")
			}
			return again(t, r, quiet)
		},
	} {
		t.Run(name, func(t *testing.T) {
			r := restore()
			if on := r.Standing(); len(on) > 0 {
				t.Errorf("on are %v", on)
			}
			events := trace{from: start.Add(31 * time.Minute), minutes: 120, air: constant(20), cluster: constant(36), outside: constant(15)}.through(r)
			raised := map[alarm.Name]bool{}
			for _, e := range events {
				if e.State == alarm.Cleared && !raised[e.Name] {
					t.Errorf("ended what was not on: %v", e)
				}
				raised[e.Name] = e.State == alarm.Raised
			}
		})
	}
}
