package thresholds_test

import (
	"math"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// A pile that cools by Newton's law to a level from minute 600 on, with a time constant of 150 min: the fastest half of what is computed
// for dead litters under good cover. Read with a gain of 0.85 in nest air of 10 °C.
func cooling(core float64) func(m int) float64 {
	const air, warm, tau = 10, 37.3, 150.0
	return func(m int) float64 {
		is := warm
		if m > 600 {
			is = core + (warm-core)*math.Exp(-float64(m-600)/tau)
		}
		return air + 0.85*(is-air) + dusty(m)
	}
}

// A fall that nobody saw go on, because the probe or the whole daemon was away, is a fall all the same.
func TestFallBehindADropout(t *testing.T) {
	for name, away := range map[string]int{"half an hour": 30, "three hours": 180, "six hours": 360} {
		for _, severity := range []alarm.Severity{alarm.Warning, alarm.Urgent} {
			core := map[alarm.Severity]float64{alarm.Warning: 25.5, alarm.Urgent: 22}[severity]
			cools := cooling(core)
			_, events := trace{
				minutes: 2000, litters: newborn(5), air: func(m int) float64 { return 10 + dusty(m+2) }, outside: constant(5),
				cluster: func(m int) float64 {
					if m >= 610 && m < 610+away {
						return math.NaN()
					}
					return cools(m)
				},
			}.run(t)
			if n := count(events, alarm.ClusterChill, alarm.Raised, severity); n == 0 {
				t.Errorf("away for %s, a core of %g °C: no chill at %v", name, core, severity)
			}
			want(t, events, alarm.ClusterChill, alarm.Cleared, alarm.Notice, 0)
		}
	}
}

// Readings that went missing half an hour ago say nothing against a fall: a cable that fails for 25 minutes of every hour hides no chill.
func TestFallThroughHoles(t *testing.T) {
	cools := cooling(20)
	for first := range 12 {
		_, events := trace{
			minutes: 2000, litters: newborn(5), air: func(m int) float64 { return 10 + dusty(m+2) }, outside: constant(5),
			cluster: func(m int) float64 {
				if m > 300 && (m+5*first)%60 < 25 {
					return math.NaN()
				}
				return cools(m)
			},
		}.run(t)
		if count(events, alarm.ClusterChill, alarm.Raised, alarm.Urgent) == 0 {
			t.Errorf("holes from minute %d of the hour: no chill", 5*first)
		}
	}
}

// A second probe that lies beside the pile shows no fall, and takes nothing from what the first one shows.
func TestSecondProbeBesideThePile(t *testing.T) {
	r := pair(t)
	r.SetLitters(newborn(5), start)
	cools := cooling(22)
	var events []alarm.Event
	for half := range 2 * 1200 {
		at, m := start.Add(time.Duration(half)*30*time.Second), half/2
		events = append(events, r.Observe(at, []sensors.Reading{
			{Probe: "cluster", Time: at, Value: cools(m)},
			{Probe: "cluster-2", Time: at, Value: 12 + dusty(m+1)},
			{Probe: "air", Time: at, Value: 10 + dusty(m+2)},
			{Probe: "shade", Time: at, Value: 5},
		})...)
	}
	want(t, events, alarm.ClusterChill, alarm.Raised, alarm.Urgent, 1)
}

// What is corrected in the book ends no alarm: the pile is as cold as before.
func TestCorrectedBookEndsNoChill(t *testing.T) {
	r := rabbitry(t, brood.WoodenBox)
	book := newborn(5)
	r.SetLitters(book, start)
	cold := trace{minutes: 1200, cluster: cooling(22), air: func(m int) float64 { return 10 + dusty(m+2) }, outside: constant(5)}
	want(t, cold.through(r), alarm.ClusterChill, alarm.Raised, alarm.Urgent, 1)
	at := start.Add(1200 * time.Minute)
	corrected := book[0]
	corrected.Bred = corrected.Bred.AddDate(0, 0, -1)
	r.SetLitters([]litter.Litter{corrected}, at)
	stays := 10 + 0.85*12.0 // °C at the probe, as at the end
	cold.from, cold.minutes, cold.cluster = at, 1200, func(m int) float64 { return stays + dusty(m) }
	want(t, cold.through(r), alarm.ClusterChill, alarm.Cleared, alarm.Notice, 0)
	if !standing(r, alarm.ClusterChill) {
		t.Error("the chill stands no more")
	}
}

func standing(r *thresholds.Rabbitry, name alarm.Name) bool {
	for _, st := range r.Standing() {
		if st.Name == name {
			return true
		}
	}
	return false
}

// A start that looks at the last day again, in which the pile was cold throughout, ends no chill that stood. Warmth does, and so does a look.
func TestChillOutlastsAStartFromTheArchive(t *testing.T) {
	for name, c := range map[string]struct {
		cluster func(m int) float64
		looked  bool
		cleared int
	}{
		"cold as before": {func(m int) float64 { return 20 + dusty(m) }, false, 0},
		"warm again":     {func(m int) float64 { return 34 + dusty(m) }, false, 1},
		"looked at":      {func(m int) float64 { return 20 + dusty(m) }, true, 1},
	} {
		t.Run(name, func(t *testing.T) {
			r := rabbitry(t, brood.WoodenBox)
			r.SetLitters(newborn(5), start)
			day := trace{minutes: 24 * 60, cluster: func(m int) float64 { return 20 + dusty(m) }, air: func(m int) float64 { return 10 + dusty(m+2) }, outside: constant(5)}
			day.through(r)
			r.Restore(stood(alarm.ClusterChill, alarm.Urgent))
			at := start.Add(24 * time.Hour)
			if c.looked {
				if err := r.Done("oak", alarm.InspectDue, at); err != nil {
					t.Fatal(err)
				}
			}
			day.from, day.minutes, day.cluster = at, 600, c.cluster
			want(t, day.through(r), alarm.ClusterChill, alarm.Cleared, alarm.Notice, c.cleared)
		})
	}
}
