package thresholds_test

import (
	"math"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

// warmed is a course that is raised by k from a minute on, for so many minutes, with a time constant in minutes.
func warmed(base func(m int) float64, k, tau float64, from, minutes int) func(m int) float64 {
	return func(m int) float64 {
		switch t := float64(m - from); {
		case m < from:
			return base(m)
		case m < from+minutes:
			return base(m) + k*(1-math.Exp(-t/tau))
		default:
			left := k * (1 - math.Exp(-float64(minutes)/tau))
			return base(m) + left*math.Exp(-float64(m-from-minutes)/tau)
		}
	}
}

const stays = 1 << 20 // min

// A doe warms nest air by some kelvins while she sits and takes her warmth along when she leaves; a litter's warmth stays. Courses are
// invented: straw beside a doe is well under her own 38 to 41 °C (rectal, published range), and a probe she lies on is near it.
func TestKindling(t *testing.T) {
	cold, mild, hot := func(m int) float64 { return 5.5 + dusty(m+2) }, func(m int) float64 { return 22 + dusty(m+2) }, func(m int) float64 { return 33 + dusty(m+2) }
	sits := func(base func(int) float64, k float64, spells ...[2]int) (cluster, air func(int) float64) {
		cluster, air = base, base
		for _, s := range spells {
			cluster, air = warmed(cluster, k, 8, s[0], s[1]), warmed(air, 3, 3, s[0], s[1])
		}
		return cluster, air
	}
	type course struct {
		cluster, air func(int) float64
		within       int // min after minute 600 by which it is called; 0 for never
	}
	cases := map[string]course{
		"nothing happens":                        {cold, cold, 0},
		"a litter under the probe":               {warmed(cold, 26, 15, 600, stays), cold, 120},
		"a litter that warms its box too":        {warmed(cold, 26, 15, 600, stays), warmed(cold, 1, 15, 600, stays), 120},
		"a litter far from the probe":            {warmed(cold, 2.5, 15, 600, stays), cold, 300},
		"a litter far from the probe, mild":      {warmed(mild, 1.5, 15, 600, stays), mild, 300},
		"a litter in air nearly as warm as it":   {warmed(hot, 2.5, 15, 600, stays), hot, 300},
		"a litter that the doe sat down to bear": {warmed(cold, 28, 15, 600, stays), warmed(cold, 3, 3, 570, 60), 240},
	}
	add := func(name string, base func(int) float64, k float64, spells ...[2]int) {
		c, a := sits(base, k, spells...)
		cases[name] = course{cluster: c, air: a}
	}
	add("the doe sits for 40 minutes", cold, 12, [2]int{600, 40})
	add("the doe sits for 150 minutes", cold, 12, [2]int{600, 150})
	add("the doe sits for 150 minutes on the probe", cold, 31, [2]int{600, 150})
	add("the doe sits for 150 minutes in mild air", mild, 5, [2]int{600, 150})
	add("a doe who loafs there for half a day", cold, 12, [2]int{300, 170}, [2]int{482, 110}, [2]int{640, 175}, [2]int{850, 160}, [2]int{1020, 180})
	cases["the doe sits for 40 minutes, unseen by nest air"] = course{cluster: warmed(cold, 12, 8, 600, 40), air: cold}
	cases["the doe sits for 150 minutes, unseen by nest air"] = course{cluster: warmed(cold, 12, 8, 600, 150), air: cold}
	cools := warmed(func(m int) float64 { return 13 + dusty(m+2) }, -8, 240, 600, stays)
	cases["a probe that sticks while the air cools"] = course{cluster: func(m int) float64 {
		if m < 600 {
			return cools(m)
		}
		return 13
	}, air: cools}
	lies := warmed(func(m int) float64 { return 5.5 + 0.3*math.Sin(float64(m)/40) }, 26, 3, 600, stays)
	cases["a litter under a probe of half degrees"] = course{cluster: func(m int) float64 { return math.Round(2*lies(m)) / 2 }, air: cold, within: 240}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			r, events := trace{minutes: 1400, litters: bred(30), cluster: c.cluster, air: c.air, outside: constant(c.air(0) - 2)}.run(t)
			calls := 0
			if c.within > 0 {
				calls = 1
			}
			want(t, events, alarm.Kindled, alarm.Noted, alarm.Notice, calls)
			want(t, events, alarm.ClusterChill, alarm.Raised, alarm.Notice, 0)
			for _, e := range events {
				if late := e.Time.Sub(start.Add(10 * time.Hour)).Minutes(); e.Name == alarm.Kindled && late > float64(c.within) {
					t.Errorf("called after %.0f min, want %d at most", late, c.within)
				}
			}
			if known := r.Snapshot().Nests[0].AgeDays >= 0; known != (c.within > 0) {
				t.Errorf("age known %v", known)
			}
		})
	}
}

// A call starts the litter clock at the time the warmth began, until the keeper enters a day; then that day counts, and no second call comes.
func TestKindlingMovesTheClockUntilTheKeeperDoes(t *testing.T) {
	cold := func(m int) float64 { return 5.5 + dusty(m+2) }
	tr := trace{minutes: 1000, litters: bred(31), cluster: warmed(cold, 26, 15, 600, stays), air: cold, outside: constant(2)}
	r, events := tr.run(t)
	want(t, events, alarm.Kindled, alarm.Noted, alarm.Notice, 1)
	if off := r.Snapshot().Nests[0].Litter.Kindled.Sub(start.Add(600 * time.Minute)).Abs(); off > 5*time.Minute {
		t.Errorf("the clock starts %v off the birth", off)
	}
	on := tr
	on.from, on.minutes, on.cluster = start.Add(1000*time.Minute), 1440, func(m int) float64 { return 31.5 + dusty(m) }
	want(t, on.through(r), alarm.Kindled, alarm.Noted, alarm.Notice, 0)
	if age := r.Snapshot().Nests[0].AgeDays; age != 1 {
		t.Errorf("a day later the kits are %d days old", age)
	}

	kept := start.Add(-40 * time.Hour) // two days before the day of the call
	at := on.from.Add(1440 * time.Minute)
	r.SetLitters([]litter.Litter{{ID: 1, Nest: "oak", Bred: start.AddDate(0, 0, -31), Kindled: kept, Born: 8}}, at)
	on.from, on.minutes = at, 300
	want(t, on.through(r), alarm.Kindled, alarm.Noted, alarm.Notice, 0)
	if s := r.Snapshot().Nests[0]; !s.Litter.Kindled.Equal(kept) || s.AgeDays != 3 {
		t.Errorf("the keeper's day does not count: kindled %v, %d days old", s.Litter.Kindled, s.AgeDays)
	}
}

// Kits born bare in a freeze warm nest air like a doe and cool within hours. They are called while they cool, and the chill with them;
// straw that a doe leaves cools as far, but fast, and nest air falls with her.
func TestKitsBornBareInAFreezeAreCalledWhileTheyCool(t *testing.T) {
	freeze := func(m int) float64 { return -10 + dusty(m+2) }
	const birth, lies, tau = 600, 60, 100 // min
	cools := func(m int) float64 {
		warm := warmed(freeze, 35, 6, birth, stays)
		if m < birth+lies {
			return warm(m)
		}
		return freeze(m) + 35*math.Exp(-float64(m-birth-lies)/tau)
	}
	_, events := trace{minutes: 1000, litters: bred(31), cluster: cools, air: warmed(freeze, 3, 3, birth, lies+60), outside: constant(-12)}.run(t)
	want(t, events, alarm.Kindled, alarm.Noted, alarm.Notice, 1)
	want(t, events, alarm.ClusterChill, alarm.Raised, alarm.Urgent, 1)
	for _, e := range events {
		if e.Name == alarm.ClusterChill && e.Time.After(start.Add((birth+4*60)*time.Minute)) {
			t.Errorf("the chill is told at %v", e.Time)
		}
	}

	_, events = trace{minutes: 1000, litters: bred(31), cluster: warmed(freeze, 35, 25, birth, 150), air: warmed(freeze, 3, 3, birth, 150), outside: constant(-12)}.run(t)
	want(t, events, alarm.Kindled, alarm.Noted, alarm.Notice, 0)
}
