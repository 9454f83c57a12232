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
)

// airAt is one reading of nest air.
func airAt(at time.Time, v float64) []sensors.Reading {
	return []sensors.Reading{{Probe: "air", Time: at, Value: v}}
}

// A clock that was ahead for a while, without a monotonic one to tell, leaves no litter grown up and none born too early.
func TestClockPutBackKeepsLitters(t *testing.T) {
	r := rabbitry(t, brood.WoodenBox)
	r.SetLitters(append(newborn(2), litter.Litter{ID: 2, Nest: "oak", Bred: start.AddDate(0, 6, 0)}), start)
	for half := range 60 {
		at := start.Add(time.Duration(half) * 30 * time.Second)
		if half >= 20 && half < 40 {
			at = at.AddDate(1, 0, 0)
		}
		r.Observe(at, airAt(at, 20))
	}
	if n := r.Snapshot().Nests[0]; n.AgeDays != 2 || n.Litter.ID != 1 {
		t.Errorf("litter %d, %d days old; want litter 1, 2 days old", n.Litter.ID, n.AgeDays)
	}
}

// A probe that drops out for minutes again and again does not keep its alarm from being raised, nor one sample from standing.
func TestDropoutsDoNotDelayHeatForEver(t *testing.T) {
	_, events := trace{minutes: 90, outside: constant(25), cluster: nothing, air: func(m int) float64 {
		if m%9 > 4 {
			return math.NaN()
		}
		return 36
	}}.run(t)
	want(t, events, alarm.NestHeat, alarm.Raised, alarm.Urgent, 1)
}

func TestDelayIsForgottenOverALongSilence(t *testing.T) {
	_, events := trace{minutes: 400, outside: constant(25), cluster: nothing, air: func(m int) float64 {
		if m%200 > 6 {
			return math.NaN()
		}
		return 36
	}}.run(t)
	want(t, events, alarm.NestHeat, alarm.Raised, alarm.Notice, 0)
}

// One mild sample of a probe that is read every ten minutes, too far from its neighbours to be found odd, ends no alarm.
func TestOneSampleEndsNoAlarm(t *testing.T) {
	r := every(t, 10*time.Minute)
	var events []alarm.Event
	for i := range 30 {
		at, v := start.Add(time.Duration(i)*10*time.Minute), 36.0
		if i == 15 {
			v = 20
		}
		events = append(events, r.Observe(at, airAt(at, v))...)
	}
	want(t, events, alarm.NestHeat, alarm.Raised, alarm.Urgent, 1)
	want(t, events, alarm.NestHeat, alarm.Cleared, alarm.Notice, 0)
}

// The probe hangs in nest air for good; its neighbour drops out for some minutes.
func TestDropoutEndsNoCheck(t *testing.T) {
	for name, lost := range map[string]func(m int) bool{
		"air":     func(m int) bool { return m >= 700 && m < 705 },
		"nothing": func(int) bool { return false },
	} {
		t.Run(name, func(t *testing.T) {
			_, events := trace{
				minutes: 900, litters: newborn(3), outside: constant(12), cluster: func(m int) float64 { return 18 + dusty(m) },
				air: func(m int) float64 {
					if lost(m) {
						return math.NaN()
					}
					return 18 + dusty(m+3)
				},
			}.run(t)
			want(t, events, alarm.CheckNest, alarm.Raised, alarm.Notice, 1)
			want(t, events, alarm.CheckNest, alarm.Cleared, alarm.Notice, 0)
		})
	}
}

// Weather at the edge of what kits stand does not wake a keeper once a minute.
func TestSilentNestAtTheEdgeOfCold(t *testing.T) {
	for name, outside := range map[string]func(m int) float64{
		"about 10 °C": func(m int) float64 { return 10 + 0.2*math.Sin(float64(m)) },
		"about 28 °C": func(m int) float64 { return 28 + 0.2*math.Sin(float64(m)) },
		"outside drops out": func(m int) float64 {
			if m > 60 && m%10 < 4 {
				return math.NaN()
			}
			return 9
		},
	} {
		t.Run(name, func(t *testing.T) {
			_, events := trace{minutes: 600, litters: newborn(4), outside: outside, cluster: constant(35), air: func(m int) float64 {
				if m > 30 {
					return math.NaN()
				}
				return 20
			}}.run(t)
			want(t, events, alarm.ProbeSilent, alarm.Raised, alarm.Urgent, 1)
		})
	}
}

func TestMildWeatherThatDropsOutIsNotUrgent(t *testing.T) {
	_, events := trace{
		minutes: 600, litters: newborn(4), cluster: constant(35),
		outside: func(m int) float64 {
			if m > 60 && m%20 < 5 {
				return math.NaN()
			}
			return 18
		},
		air: func(m int) float64 {
			if m > 30 {
				return math.NaN()
			}
			return 20
		},
	}.run(t)
	want(t, events, alarm.ProbeSilent, alarm.Raised, alarm.Urgent, 0)
}

func TestOldAndHeldReadingsAreNotFresh(t *testing.T) {
	fresh := func(at time.Time, readings func(now time.Time) []sensors.Reading) bool {
		r := rabbitry(t, brood.WoodenBox)
		now := start
		for range 20 {
			r.Observe(now, readings(now))
			now = now.Add(30 * time.Second)
		}
		r.Observe(now, readings(now))
		for _, v := range r.Snapshot().Nests[0].Values {
			if v.Probe == "air" && v.Fresh {
				return true
			}
		}
		return false
	}
	for name, c := range map[string]struct {
		at   func(now time.Time) time.Time
		want bool
	}{
		"measured now":                    {func(now time.Time) time.Time { return now }, true},
		"measured a minute ago":           {func(now time.Time) time.Time { return now.Add(-time.Minute) }, true},
		"measured hours ago":              {func(now time.Time) time.Time { return now.Add(-8 * time.Hour) }, false},
		"held, and stamped in time":       {func(time.Time) time.Time { return start }, false},
		"held, and stamped in the future": {func(time.Time) time.Time { return start.AddDate(1, 0, 0) }, false},
	} {
		t.Run(name, func(t *testing.T) {
			if got := fresh(start, func(now time.Time) []sensors.Reading { return airAt(c.at(now), 20) }); got != c.want {
				t.Errorf("fresh %v, want %v", got, c.want)
			}
		})
	}
}

// Two days without a poll: what was read before them is not what was read a minute ago.
func TestNothingIsSeenAcrossALongGap(t *testing.T) {
	r := rabbitry(t, brood.WoodenBox)
	r.SetLitters(newborn(4), start)
	var events []alarm.Event
	at := start
	for i := range 240 {
		if i == 120 {
			at = at.Add(48 * time.Hour)
		}
		inside := 10.0
		if i >= 120 {
			inside = 14
		}
		events = append(events, r.Observe(at, []sensors.Reading{
			{Probe: "air", Time: at, Value: inside}, {Probe: "shade", Time: at, Value: 16}, {Probe: "cluster", Time: at, Value: 34},
		})...)
		at = at.Add(30 * time.Second)
	}
	want(t, events, alarm.Inspection, alarm.Noted, alarm.Notice, 0)
	want(t, events, alarm.Visit, alarm.Noted, alarm.Notice, 0)
}

// What outside air holds of water is missed as well as its warmth.
func TestSilentHumidityOutside(t *testing.T) {
	r := rabbitry(t, brood.WoodenBox)
	var events []alarm.Event
	for half := range 60 {
		at := start.Add(time.Duration(half) * 30 * time.Second)
		batch := []sensors.Reading{{Probe: "shade", Time: at, Value: 20}, {Probe: "shade", Quantity: sensors.Humidity, Time: at, Value: 60}}
		if half > 20 {
			batch[1].Fault = sensors.NoAnswer
		}
		events = append(events, r.Observe(at, batch)...)
	}
	want(t, events, alarm.ProbeSilent, alarm.Raised, alarm.Warning, 1)
}

// Two cluster probes, of which one has answered far more often: the heat is felt whichever is the warmer.
func TestClusterHeatWhenTheWarmerProbeChanges(t *testing.T) {
	r := pair(t)
	var events []alarm.Event
	for half := range 600 {
		at := start.Add(time.Duration(half) * 30 * time.Second)
		one, two := 36.0, 35.0
		if half >= 500 {
			one, two = 40.5, 40.2
		}
		if half >= 502 {
			one, two = 40.2, 40.5
		}
		batch := []sensors.Reading{{Probe: "cluster", Time: at, Value: one}}
		if half >= 490 {
			batch = append(batch, sensors.Reading{Probe: "cluster-2", Time: at, Value: two})
		}
		events = append(events, r.Observe(at, batch)...)
	}
	want(t, events, alarm.ClusterHeat, alarm.Raised, alarm.Urgent, 1)
}

// In a freeze nest air is far below what naked kits stand, and a warm pile does not mind. A cluster probe that drops out for minutes
// wakes nobody; one that stays away does.
func TestDropoutOfTheClusterInAFreeze(t *testing.T) {
	for name, c := range map[string]struct{ minutes, urgent int }{"four minutes": {4, 0}, "half an hour": {30, 1}} {
		t.Run(name, func(t *testing.T) {
			_, events := trace{
				minutes: 700, litters: newborn(5), outside: constant(-12), air: func(m int) float64 { return -8 + dusty(m+3) },
				cluster: func(m int) float64 {
					if m >= 600 && m < 600+c.minutes {
						return math.NaN()
					}
					return 33 + dusty(m)
				},
			}.run(t)
			want(t, events, alarm.NestCold, alarm.Raised, alarm.Urgent, c.urgent)
		})
	}
}

// A probe that drops out for minutes all day is one alarm, not one for each dropout.
func TestFlakyProbeIsOneAlarm(t *testing.T) {
	flaky := func(m int) float64 {
		if m%10 < 4 {
			return math.NaN()
		}
		return 20
	}
	_, events := trace{minutes: 600, litters: newborn(4), outside: flaky, cluster: constant(35), air: flaky}.run(t)
	want(t, events, alarm.ProbeSilent, alarm.Raised, alarm.Warning, 2) // the nest's and the site's
	want(t, events, alarm.ProbeSilent, alarm.Cleared, alarm.Notice, 0)
}

// A probe that is away for minutes and comes back by itself is a notice; one that stays away is a second raising, as a warning. Mild
// weather, so that nothing is urgent.
func TestShortSilenceIsANotice(t *testing.T) {
	for name, c := range map[string]struct{ minutes, raised, warnings int }{
		"a minute": {1, 0, 0}, "five minutes": {5, 1, 0}, "ten minutes": {10, 1, 0}, "twenty minutes": {20, 2, 1},
	} {
		away := func(v float64) func(m int) float64 {
			return func(m int) float64 {
				if m >= 60 && m < 60+c.minutes {
					return math.NaN()
				}
				return v
			}
		}
		for place, tr := range map[string]trace{
			"nest": {outside: constant(18), cluster: constant(35), air: away(20)},
			"site": {outside: away(18), cluster: constant(35), air: constant(20)},
		} {
			t.Run(place+", "+name, func(t *testing.T) {
				tr.minutes, tr.litters = 180, newborn(4)
				_, events := tr.run(t)
				want(t, events, alarm.ProbeSilent, alarm.Raised, alarm.Notice, c.raised)
				want(t, events, alarm.ProbeSilent, alarm.Raised, alarm.Warning, c.warnings)
				want(t, events, alarm.ProbeSilent, alarm.Cleared, alarm.Notice, min(c.raised, 1))
			})
		}
	}
}

// What cannot be judged is shown as such from the very poll on, not a minute later; and a litter that was entered shows at once.
func TestShownAtOnce(t *testing.T) {
	r := rabbitry(t, brood.WoodenBox)
	chill := func() thresholds.Judgement {
		for _, j := range r.Snapshot().Nests[0].Judged {
			if j.Danger == "chill" {
				return j
			}
		}
		t.Fatal("chill is not listed")
		return thresholds.Judgement{}
	}
	at := start.Add(10 * time.Second)
	poll := func(probes ...string) {
		at = at.Add(30 * time.Second)
		var batch []sensors.Reading
		for _, p := range probes {
			batch = append(batch, sensors.Reading{Probe: p, Time: at, Value: 34})
		}
		r.Observe(at, batch)
	}
	r.SetLitters(newborn(3), at)
	poll("cluster")
	if n := r.Snapshot().Nests[0]; n.Litter == nil || n.AgeDays != 3 {
		t.Errorf("after the first poll the litter is %v, %d days old", n.Litter, n.AgeDays)
	}
	r.SetLitters(newborn(5), at)
	if age := r.Snapshot().Nests[0].AgeDays; age != 5 {
		t.Errorf("corrected, the litter is %d days old, want 5", age)
	}
	for range 100 { // its fall is judged from the first half hour on
		at = at.Add(30 * time.Second)
		r.Observe(at, []sensors.Reading{{Probe: "cluster", Time: at, Value: 33}, {Probe: "air", Time: at, Value: 10}})
	}
	if j := chill(); !j.Judged {
		t.Fatalf("not judged: %s", j.Why)
	}
	for range 4 {
		poll("air")
	}
	if j := chill(); j.Judged || !strings.Contains(j.Why, "cluster") {
		t.Errorf("two minutes after the last reading of the cluster: %+v", j)
	}
}
