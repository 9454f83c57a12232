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
	"nestmon/thresholds/nest"
)

// powered watches a battery, of 12 V where low is 0.
func powered(t *testing.T, low float64) *thresholds.Rabbitry {
	t.Helper()
	const interval = 30 * time.Second
	all := append(probes(), sensors.Probe{
		ID: "bank", Quantities: []sensors.Quantity{sensors.Voltage, sensors.Current}, Interval: interval, StaleAfter: sensors.DefaultStaleAfter(interval),
	})
	r, err := thresholds.New(thresholds.Config{
		Location: time.UTC, Poll: interval, Outside: "shade", Battery: "bank", LowVolts: low, Probes: all, Limits: brood.DefaultTables(),
		Nests: []nest.Config{{ID: "oak", Kind: brood.WoodenBox, Cluster: []string{"cluster"}, Air: "air"}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// supply is what feeds a board, by the minute: the battery's voltage, not a number while its probe is silent, and whether the board itself
// says that its voltage is too low.
type supply struct {
	minutes int
	volts   func(m int) float64
	board   func(m int) bool
	low     float64
}

func (s supply) run(t *testing.T) (*thresholds.Rabbitry, []alarm.Event) {
	t.Helper()
	r := powered(t, s.low)
	var events []alarm.Event
	for half := range 2 * s.minutes {
		at, m := start.Add(time.Duration(half)*30*time.Second), half/2
		if s.board != nil {
			var c alarm.Condition
			if s.board(m) {
				c = alarm.Condition{Severity: alarm.Warning, Since: at, Count: 1, Rule: "the board says so", Source: "invented"}
			}
			r.Fault(alarm.PowerFault, c, "The board's supply is too weak.")
		}
		events = append(events, r.Observe(at, []sensors.Reading{
			{Probe: "shade", Time: at, Value: 15},
			{Probe: "air", Time: at, Value: 15},
			{Probe: "cluster", Time: at, Value: 15},
			battery(at, sensors.Voltage, s.volts(m)), battery(at, sensors.Current, 0.15),
		})...)
	}
	return r, events
}

func battery(at time.Time, q sensors.Quantity, v float64) sensors.Reading {
	if math.IsNaN(v) {
		return sensors.Reading{Probe: "bank", Quantity: q, Time: at, Fault: sensors.NoAnswer}
	}
	return sensors.Reading{Probe: "bank", Quantity: q, Time: at, Value: q.Quantise(v)}
}

// steps is a course of values that each last so many minutes.
func steps(each int, values ...float64) func(m int) float64 {
	return func(m int) float64 { return values[min(m/each, len(values)-1)] }
}

func TestALowBatteryIsAPowerFault(t *testing.T) {
	for _, row := range []struct {
		name            string
		low             float64
		volts           func(m int) float64
		raised, cleared int
	}{
		{"full", 0, constant(12.7), 0, 0},
		{"on its limit", 0, constant(12), 0, 0},
		{"just under it", 0, constant(11.99), 1, 0},
		{"a load that starts", 0, steps(9, 12.4, 11.6, 12.4), 0, 0},
		{"a load that goes leaves it low", 0, steps(30, 11.9, 12.3), 1, 0},
		{"charged", 0, steps(30, 11.9, 13.2), 1, 1},
		{"24 V, charged", 24, steps(30, 23.9, 24.4), 1, 1},
		{"24 V, in good order", 24, constant(24.1), 0, 0},
		{"unknown from the start", 0, nothing, 0, 0},
		{"unknown once it was low", 0, steps(30, 11.9, math.NaN()), 1, 0},
		{"low whenever it is seen", 0, func(m int) float64 {
			if m%6 < 3 {
				return 11.5
			}
			return math.NaN()
		}, 1, 0},
	} {
		t.Run(row.name, func(t *testing.T) {
			r, events := supply{minutes: 120, volts: row.volts, low: row.low}.run(t)
			want(t, events, alarm.PowerFault, alarm.Raised, alarm.Warning, row.raised)
			want(t, events, alarm.PowerFault, alarm.Cleared, alarm.Warning, row.cleared)
			for _, e := range events {
				if e.Name != alarm.PowerFault {
					continue
				}
				explains(t, e)
				if e.State == alarm.Raised && (e.Unit != "V" || e.Probe != "bank" || !e.HasLimit || e.Time.Sub(e.Since) < 10*time.Minute) {
					t.Errorf("told as %+v", e)
				}
			}
			if on := alarm.Find(r.Standing(), "", alarm.PowerFault).Severity > alarm.None; on != (row.raised > row.cleared) {
				t.Errorf("stands at the end: %v", on)
			}
		})
	}
}

// With the limit of a 12 V battery one of 24 V would run empty untold.
func TestALimitThatIsAnothersIsANotice(t *testing.T) {
	for volts, n := range map[float64]int{25.4: 1, 21: 1, 15.2: 0, 14.4: 0} {
		_, events := supply{minutes: 60, volts: constant(volts)}.run(t)
		want(t, events, alarm.PowerFault, alarm.Raised, alarm.Notice, n)
		want(t, events, alarm.PowerFault, alarm.Raised, alarm.Warning, 0)
		for _, e := range events {
			if e.Name == alarm.PowerFault {
				explains(t, e)
			}
		}
	}
}

// The board and its battery have one alarm; the second to fail is told anew, and it ends with the last of them.
func TestTheBoardAndItsBattery(t *testing.T) {
	board := func(m int) bool { return m >= 40 && m < 80 }
	_, events := supply{minutes: 200, volts: steps(100, 11.9, 13), board: board}.run(t)
	var told []string
	for _, e := range events {
		if e.Name == alarm.PowerFault {
			told = append(told, string(e.State))
			explains(t, e)
			if e.State == alarm.Raised && e.Time.Sub(start) > 30*time.Minute {
				for _, part := range []string{"The board's supply", "The battery is low"} {
					if !strings.Contains(e.Text, part) {
						t.Errorf("%q does not say %q", e.Text, part)
					}
				}
			}
		}
	}
	if got := strings.Join(told, " "); got != "raised raised cleared" {
		t.Errorf("got %s, want raised raised cleared", got)
	}
}

// A board's alarm ends though the battery cannot be seen, which was well when it was seen last.
func TestASilentBatteryHoldsNoOtherAlarm(t *testing.T) {
	_, events := supply{minutes: 120, volts: steps(30, 12.6, math.NaN()), board: func(m int) bool { return m >= 10 && m < 60 }}.run(t)
	want(t, events, alarm.PowerFault, alarm.Raised, alarm.Warning, 1)
	want(t, events, alarm.PowerFault, alarm.Cleared, alarm.Warning, 1)
}

// What is known of a battery does not outlast a start on the minute; that its alarm stands does. A probe that is silent from then on says
// nothing of a battery that was low, nor of one whose limit is another's, and a board that is well says nothing of its battery.
func TestASilentBatteryHoldsItsOwnAlarm(t *testing.T) {
	for _, row := range []struct {
		name          string
		volts         float64
		after         float64 // V, of the battery after the start
		cleared       int
		severity      alarm.Severity
		startsBetween bool
	}{
		{"low", 11.5, math.NaN(), 0, alarm.Warning, true},
		{"low, and charged", 11.5, 13.2, 1, alarm.Warning, true},
		{"low, without a start", 11.5, math.NaN(), 0, alarm.Warning, false},
		{"another's limit", 25.4, math.NaN(), 0, alarm.Notice, true},
		{"another's limit, without a start", 25.4, math.NaN(), 0, alarm.Notice, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			r, _ := supply{minutes: 40, volts: constant(row.volts)}.run(t)
			if row.startsBetween {
				stored := r.Standing()
				r = powered(t, 0)
				r.Restore(stored)
			}
			var events []alarm.Event
			for half := range 2 * 180 {
				at := start.Add(time.Hour + time.Duration(half)*30*time.Second)
				r.Fault(alarm.PowerFault, alarm.Condition{}, "")
				events = append(events, r.Observe(at, []sensors.Reading{
					{Probe: "shade", Time: at, Value: 15},
					{Probe: "air", Time: at, Value: 15},
					{Probe: "cluster", Time: at, Value: 15},
					battery(at, sensors.Voltage, row.after),
				})...)
			}
			want(t, events, alarm.PowerFault, alarm.Cleared, row.severity, row.cleared)
		})
	}
}

func TestASilentBatteryIsTold(t *testing.T) {
	r, events := supply{minutes: 120, volts: steps(30, 12.6, math.NaN(), 12.6)}.run(t)
	want(t, events, alarm.ProbeSilent, alarm.Raised, alarm.Warning, 1)
	want(t, events, alarm.ProbeSilent, alarm.Cleared, alarm.Warning, 1)
	for _, e := range events {
		if e.Name == alarm.ProbeSilent && e.State == alarm.Raised && (!strings.Contains(e.Text, "battery") || strings.Contains(e.Text, "outside")) {
			t.Errorf("told as %q", e.Text)
		}
	}
	s := r.Snapshot()
	if len(s.Battery.Values) != 2 || s.Battery.Values[0].Value != 12.6 || !s.Battery.Values[1].Fresh || s.Battery.Values[0].Role != thresholds.Battery {
		t.Errorf("shown as %+v", s.Battery.Values)
	}
}

func TestAnUnknownBattery(t *testing.T) {
	if _, err := thresholds.New(thresholds.Config{Battery: "bank", Limits: brood.DefaultTables()}); err == nil {
		t.Error("a probe that does not exist was taken")
	}
}
