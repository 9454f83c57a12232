package thresholds_test

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
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

// indoors is a litter of three days that was carried in so long before the trace begins.
func indoors(ago time.Duration) []litter.Litter {
	book := newborn(3)
	book[0].Indoors = start.Add(-ago)
	return book
}

// act finds what a person is to do: an order at the beginning of a sentence or of its second half.
var act = regexp.MustCompile(`(^|[.:;,] |so )([Ll]ook|[Ss]hade|[Cc]lean|[Gg]et|[Gg]ive|[Tt]ake|[Cc]lear|[Cc]hange|[Pp]ut|[Bb]ed|[Tt]urn|[Cc]ollect|[Ww]ean|[Ss]ee|[Ww]rite|Nothing to do)\b`)

// explains holds an event to what each must tell a person: the nest first, °C and °F, what to do, and what it rests on.
func explains(t *testing.T, e alarm.Event) {
	t.Helper()
	begin := "Nest " + e.Nest + ": "
	switch {
	case e.Rule == "" || e.Source == "":
		t.Errorf("%s %s: rule %q, source %q; want both", e.Name, e.State, e.Rule, e.Source)
	case e.State == alarm.Cleared:
	case e.Nest != "" && !strings.HasPrefix(e.Text, begin):
		t.Errorf("%s: %q does not begin with %q", e.Name, e.Text, begin)
	case !act.MatchString(e.Text):
		t.Errorf("%s: nothing to do in %q", e.Name, e.Text)
	}
	for _, said := range []string{e.Text, e.Rule} {
		if c, f := strings.Count(said, "°C"), strings.Count(said, "°F"); c != f || said == e.Text && e.Unit == "C" && e.State == alarm.Raised && c == 0 {
			t.Errorf("%s: %d times °C and %d times °F in %q", e.Name, c, f, said)
		}
	}
	if e.HasValue && e.HasLimit && e.State == alarm.Raised && e.Unit == "C" && e.Name != alarm.Kindled {
		for _, v := range []float64{e.Value, e.Limit} {
			if !strings.Contains(e.Text, fmt.Sprintf("%.1f °C (%.1f °F)", v, 32+1.8*v)) {
				t.Errorf("%s: %.1f °C is not in %q", e.Name, v, e.Text)
			}
		}
	}
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
	opened := func(m int) float64 {
		if m >= 300 && m < 305 {
			return 10.5
		}
		return cool(m)
	}
	stopped := func(value float64) func(int) float64 {
		return func(m int) float64 {
			if m > 30 {
				return math.NaN()
			}
			return value
		}
	}
	cases := map[alarm.Name]struct {
		trace
		state   alarm.State
		atLeast alarm.Severity
		unit    string
	}{
		alarm.NestHeat:     {trace{minutes: 60, cluster: nothing, air: constant(36), outside: constant(30)}, alarm.Raised, alarm.Urgent, "C"},
		alarm.ClusterChill: {trace{minutes: 200, litters: newborn(2), cluster: constant(9), air: constant(5), outside: constant(2)}, alarm.Raised, alarm.Warning, "C"},
		alarm.CheckNest:    {trace{minutes: 100, litters: newborn(2), cluster: cool, air: cool, outside: constant(11)}, alarm.Raised, alarm.Notice, "C"},
		alarm.ProbeSilent:  {trace{minutes: 100, litters: newborn(2), cluster: steady, air: stopped(12), outside: constant(2)}, alarm.Raised, alarm.Urgent, "h"},
		alarm.Kindled: {trace{minutes: 900, litters: bred(30), air: cool, outside: constant(2), cluster: func(m int) float64 {
			return 12.5 + 20*(1-math.Exp(-float64(max(m-600, 0))/15)) + dusty(m)
		}}, alarm.Noted, alarm.Notice, "C"},
		alarm.Visit: {trace{minutes: 400, litters: newborn(4), outside: constant(9), air: visitAt(12, 300), cluster: func(m int) float64 {
			if m >= 303 && m < 330 {
				return 31.5
			}
			return steady(m)
		}}, alarm.Noted, alarm.Notice, "C"},
		alarm.Inspection:     {trace{minutes: 400, litters: newborn(4), cluster: steady, outside: constant(9), air: opened}, alarm.Noted, alarm.Notice, "C"},
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
	}
	for name, c := range map[alarm.Name]trace{
		alarm.CheckPregnancyDue: {minutes: 60, litters: bred(10), air: cool, outside: constant(10)},
		alarm.ConfirmKindlingDue: {minutes: 900, litters: bred(30), air: cool, outside: constant(2), cluster: func(m int) float64 {
			return 12.5 + 20*(1-math.Exp(-float64(max(m-600, 0))/15)) + dusty(m)
		}},
		alarm.RationDue:    {minutes: 60, litters: newborn(1), air: cool, outside: constant(10)},
		alarm.HideBoxDue:   {minutes: 60, litters: newborn(29), air: cool, outside: constant(10)},
		alarm.ReturnBoxDue: {minutes: 60, litters: indoors(13 * time.Hour), air: cool, outside: constant(-10)},
		alarm.WaterDue:     {minutes: 8 * 60, air: cool, outside: constant(-1)},
		alarm.FlyStrikeDue: {minutes: (24 + 7) * 60, air: constant(24), outside: constant(24)},
		alarm.ResealToteDue: {
			minutes: 60, kind: brood.BuriedTote, sealed: litter.Date{Year: start.Year() - 5, Month: start.Month(), Day: start.Day()},
			air: cool, outside: constant(10),
		},
	} {
		row := cases[name]
		row.trace, row.state, row.atLeast = c, alarm.Raised, alarm.Notice
		cases[name] = row
	}
	for _, name := range alarm.Names {
		c, here := cases[name]
		if !here && !slices.Contains(faults, name) {
			t.Errorf("no course brings %s", name)
		}
		if !here {
			continue
		}
		t.Run(string(name), func(t *testing.T) {
			_, events := c.run(t)
			brought := false
			for _, e := range events {
				explains(t, e)
				if e.Name != name || e.State != c.state || e.Severity < c.atLeast || brought {
					continue
				}
				brought = true
				switch {
				case e.Unit != c.unit:
					t.Errorf("unit %q, want %q", e.Unit, c.unit)
				case e.Since.After(e.Time):
					t.Errorf("since %s is after %s", e.Since, e.Time)
				}
			}
			if !brought {
				want(t, events, name, c.state, c.atLeast, 1)
			}
		})
	}
}

// faults is what the daemon reports of itself.
var faults = []alarm.Name{alarm.BusFault, alarm.SinkFault, alarm.PowerFault, alarm.DaemonFault}

// What the daemon reports of itself becomes an event like any other.
func TestFaultsOfTheDaemon(t *testing.T) {
	for _, name := range faults {
		t.Run(string(name), func(t *testing.T) {
			r := rabbitry(t, brood.WoodenBox)
			var events []alarm.Event
			for half := range 20 {
				at := start.Add(time.Duration(half) * 30 * time.Second)
				severity := alarm.None
				if half >= 4 && half < 12 {
					severity = alarm.Warning
				}
				r.Fault(name, alarm.Condition{Severity: severity, Since: at, Rule: "nothing for 2 min", Source: "invented"}, "It is down. Look at it.")
				events = append(events, r.Observe(at, []sensors.Reading{{Probe: "air", Time: at, Value: 12}})...)
			}
			want(t, events, name, alarm.Raised, alarm.Warning, 1)
			want(t, events, name, alarm.Cleared, alarm.Warning, 1)
			for _, e := range events {
				explains(t, e)
			}
		})
	}
}

// An alarm that falls from urgent to a warning before it ends names, when it is over, the rule by which it stood last.
func TestTheEndNamesTheLastRule(t *testing.T) {
	_, events := trace{minutes: 300, cluster: nothing, outside: constant(25), air: func(m int) float64 {
		switch {
		case m < 60:
			return 36
		case m < 120:
			return 33
		}
		return 25
	}}.run(t)
	var last alarm.Event
	for _, e := range events {
		if e.Name == alarm.NestHeat {
			last = e
		}
	}
	warn := brood.DefaultTables()
	if limit := warn.Air(0, brood.Mild).HeatWarn; last.State != alarm.Cleared || last.Source != limit.Source || !strings.Contains(last.Rule, "warning limit") {
		t.Errorf("%s, rule %q, source %q; want the warning's", last.State, last.Rule, last.Source)
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
