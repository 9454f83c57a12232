package thresholds_test

import (
	"math"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// bred is a litter bred so many days before the trace begins, not kindled.
func bred(days int) []litter.Litter {
	return []litter.Litter{{ID: 1, Nest: "oak", Bred: start.AddDate(0, 0, -days)}}
}

// TestEveryEvent holds each event to one invented course that must bring it, and to what it says.
func TestEveryEvent(t *testing.T) {
	steady := func(m int) float64 { return 34 + dusty(m) }
	cool := func(m int) float64 { return 12 + dusty(m+1) }
	visitAt := func(base float64, from int) func(int) float64 {
		return func(m int) float64 {
			if k := m % 1440; k >= from && k < from+4 && m < 3*1440 {
				return base + 2.5
			}
			return base + dusty(m)
		}
	}
	for name, c := range map[alarm.Name]struct {
		trace
		state   alarm.State
		atLeast alarm.Severity
		unit    string
	}{
		alarm.ClusterHeat:    {trace{minutes: 120, litters: newborn(2), cluster: constant(40.6), air: constant(33), outside: constant(30)}, alarm.Raised, alarm.Urgent, "C"},
		alarm.HeatExpected:   {trace{minutes: 300, cluster: nothing, outside: constant(28), air: func(m int) float64 { return 27 + 0.04*float64(max(m-60, 0)) }}, alarm.Raised, alarm.Warning, "C"},
		alarm.NestCold:       {trace{minutes: 200, litters: newborn(2), air: constant(3), outside: constant(2)}, alarm.Raised, alarm.Warning, "C"},
		alarm.DoeHeat:        {trace{minutes: 60, air: constant(28), outside: constant(33)}, alarm.Raised, alarm.Urgent, "C"},
		alarm.DoeCold:        {trace{minutes: 90, air: constant(0), outside: constant(-12)}, alarm.Raised, alarm.Warning, "C"},
		alarm.ToteWet:        {trace{minutes: 14 * 60, kind: brood.BuriedTote, air: cool, humidity: constant(98.5), outside: constant(10)}, alarm.Raised, alarm.Warning, "%"},
		alarm.ProbeFault:     {trace{minutes: 60, air: cool, outside: constant(10), cluster: func(int) float64 { return math.Inf(1) }}, alarm.Raised, alarm.Warning, ""},
		alarm.VentilationDue: {trace{minutes: 300, litters: newborn(6), cluster: steady, air: constant(27), humidity: constant(91), outside: constant(24)}, alarm.Raised, alarm.Warning, "%"},
		alarm.VisitOverdue: {
			trace{
				minutes: 6 * 1440, litters: newborn(2), outside: constant(9), air: visitAt(12, 300),
				cluster: func(m int) float64 {
					if k := m % 1440; k >= 303 && k < 330 && m < 3*1440 {
						return 31.5
					}
					return steady(m)
				},
			},
			alarm.Raised, alarm.Warning, "h",
		},
		alarm.SeasonSetupDue:  {trace{minutes: 60, air: cool, outside: constant(-6)}, alarm.Raised, alarm.Notice, "C"},
		alarm.BeddingDue:      {trace{minutes: 60, litters: newborn(14), cluster: steady, air: cool, outside: constant(10)}, alarm.Raised, alarm.Notice, ""},
		alarm.InspectDue:      {trace{minutes: 8 * 60, litters: newborn(5), cluster: steady, air: cool, outside: constant(10)}, alarm.Raised, alarm.Notice, "h"},
		alarm.BoxDue:          {trace{minutes: 60, litters: bred(27), air: cool, outside: constant(10)}, alarm.Raised, alarm.Notice, ""},
		alarm.KindlingOverdue: {trace{minutes: 60, litters: bred(33), air: cool, outside: constant(10)}, alarm.Raised, alarm.Warning, ""},
		alarm.TurnBoxDue:      {trace{minutes: 60, litters: newborn(14), air: cool, outside: constant(10)}, alarm.Raised, alarm.Notice, ""},
		alarm.RemoveBoxDue:    {trace{minutes: 60, litters: newborn(28), air: cool, outside: constant(10)}, alarm.Raised, alarm.Notice, ""},
		alarm.CollectDue:      {trace{minutes: 60, kind: brood.BuriedTote, litters: newborn(10), air: cool, outside: constant(10)}, alarm.Raised, alarm.Notice, ""},
		alarm.WeanDue:         {trace{minutes: 60, litters: newborn(30), air: cool, outside: constant(10)}, alarm.Raised, alarm.Notice, ""},
	} {
		t.Run(string(name), func(t *testing.T) {
			_, events := c.run(t)
			for _, e := range events {
				if e.Name != name || e.State != c.state || e.Severity < c.atLeast {
					continue
				}
				switch {
				case e.Unit != c.unit:
					t.Errorf("unit %q, want %q", e.Unit, c.unit)
				case len(e.Text) < 40:
					t.Errorf("says too little: %q", e.Text)
				case e.Since.After(e.Time):
					t.Errorf("since %s is after %s", e.Since, e.Time)
				}
				return
			}
			want(t, events, name, c.state, c.atLeast, 1)
		})
	}
}

// What the daemon reports of itself becomes an event like any other.
func TestFaultsOfTheDaemon(t *testing.T) {
	for _, name := range []alarm.Name{alarm.BusFault, alarm.SinkFault, alarm.PowerFault, alarm.DaemonFault} {
		t.Run(string(name), func(t *testing.T) {
			r := rabbitry(t, brood.WoodenBox)
			var events []alarm.Event
			for half := range 20 {
				at := start.Add(time.Duration(half) * 30 * time.Second)
				severity := alarm.None
				if half >= 4 && half < 12 {
					severity = alarm.Warning
				}
				r.Fault(name, alarm.Condition{Severity: severity, Since: at}, "the words of it")
				events = append(events, r.Observe(at, []sensors.Reading{{Probe: "air", Time: at, Value: 12}})...)
			}
			want(t, events, name, alarm.Raised, alarm.Warning, 1)
			want(t, events, name, alarm.Cleared, alarm.Warning, 1)
		})
	}
}

// Marked as done, a chore ends and does not come back.
func TestDoneEndsAChore(t *testing.T) {
	r := rabbitry(t, brood.WoodenBox)
	r.SetLitters(newborn(14), start)
	var events []alarm.Event
	for minute := range 180 {
		at := start.Add(time.Duration(minute) * time.Minute)
		if minute == 60 {
			for _, chore := range []alarm.Name{alarm.BeddingDue, alarm.TurnBoxDue} {
				if err := r.Done("oak", chore, at); err != nil {
					t.Fatal(err)
				}
			}
		}
		events = append(events, r.Observe(at, nil)...)
	}
	for _, chore := range []alarm.Name{alarm.BeddingDue, alarm.TurnBoxDue} {
		want(t, events, chore, alarm.Raised, alarm.Notice, 1)
		want(t, events, chore, alarm.Cleared, alarm.Notice, 1)
	}
	if err := r.Done("oak", alarm.NestHeat, start); err == nil {
		t.Error("heat was marked as done")
	}
	if err := r.Done("elm", alarm.BeddingDue, start); err == nil {
		t.Error("a chore of an unknown nest was marked as done")
	}
}
