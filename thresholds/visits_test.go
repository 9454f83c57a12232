package thresholds_test

import (
	"math"
	"testing"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// bared is a course that falls by k when the pile is laid bare for some minutes from a minute on, and comes back over half an hour:
// kits lie covered again about 30 min after a nursing (Hudson & Distel 1982, abstract).
func bared(base func(m int) float64, k float64, from, minutes int) func(m int) float64 {
	return func(m int) float64 {
		switch t := float64(m - from); {
		case m < from || m >= from+minutes+30:
			return base(m)
		case m < from+minutes:
			return base(m) - k*t/float64(minutes)
		default:
			return base(m) - k*(1-(t-float64(minutes))/30)
		}
	}
}

// A doe nurses for about three minutes (published), once a day; a person lifts the lid. What each does to the readings is invented,
// within what a body of some 12 W can do to the air of a box.
func TestVisitAndInspection(t *testing.T) {
	const at = 700
	air := func(m int) float64 { return 10 + dusty(m) }
	warm := func(m int) float64 { return 34 + dusty(m+1) }
	came := func(minutes int) func(int) float64 { return warmed(air, 2.6, 1.5, at, minutes) }
	for name, c := range map[string]struct {
		air, cluster  func(int) float64
		outside       float64
		visits, looks int
	}{
		"nursing of 4 minutes lays the pile bare":       {came(4), bared(warm, 3, at, 4), 3, 1, 0},
		"nursing, and she lies on the probe":            {came(4), warmed(func(m int) float64 { return warm(m) - 6 }, 8, 2, at, 4), 3, 1, 0},
		"nursing, and the kits lie better covered":      {came(4), warmed(warm, 1.5, 12, at+4, stays), 3, 1, 0},
		"nursing in a nest cooler than the air outside": {came(4), bared(warm, 3, at, 4), 12, 1, 0},
		"nursing twice in an hour is one":               {warmed(came(4), 2.6, 1.5, at+55, 4), bared(bared(warm, 3, at, 4), 3, at+55, 4), 3, 1, 0},
		"she comes and the cluster knows nothing":       {came(4), warm, 3, 0, 0},
		"she looks in for a minute":                     {came(1), bared(warm, 3, at, 1), 3, 0, 0},
		"sun on the box for half an hour":               {warmed(air, 2.6, 6, at, 30), warmed(warm, 1, 15, at, 30), 3, 0, 0},
		"kits uncover themselves":                       {warmed(air, 1.5, 10, at, 90), bared(warm, 3, at, 90), 3, 0, 0},
		"the pile wanders off":                          {air, bared(warm, 5, at, 60), 3, 0, 0},
		"the lid is opened, cold outside":               {warmed(air, -5, 1.5, at, 5), bared(warm, 3, at, 5), 3, 0, 1},
		"the lid is opened for two minutes":             {warmed(air, -6, 1, at, 2), bared(warm, 1.5, at, 1), 3, 0, 1},
		"the lid is opened, hot outside":                {warmed(air, 8, 1.5, at, 5), bared(warm, 3, at, 5), 20, 0, 1},
		"nothing happens":                               {air, warm, 3, 0, 0},
	} {
		t.Run(name, func(t *testing.T) {
			_, events := trace{minutes: 1000, litters: newborn(4), air: c.air, cluster: c.cluster, outside: constant(c.outside)}.run(t)
			want(t, events, alarm.Visit, alarm.Noted, alarm.Notice, c.visits)
			want(t, events, alarm.Inspection, alarm.Noted, alarm.Notice, c.looks)
			want(t, events, alarm.ClusterChill, alarm.Raised, alarm.Notice, 0)
		})
	}
}

// Two visits of a litter of six or more must be missed. Where none was ever seen the nest may not show them: a notice. Smaller litters
// are nursed every few hours (Eur. J. Neurosci. 2009, abstract), and nothing is said where nothing can be seen.
func TestVisitOverdue(t *testing.T) {
	air := func(m int) float64 { return 12 + dusty(m) }
	warm := func(m int) float64 { return 33 + dusty(m+2) }
	days := func(shape func(from int) func(int) float64, visits ...int) func(int) float64 {
		return func(m int) float64 {
			for _, d := range visits {
				if k := d*1440 + 300; m >= k-10 && m < k+200 {
					return shape(k)(m)
				}
			}
			return shape(math.MaxInt32)(m)
		}
	}
	pulse := func(from int) func(int) float64 { return warmed(air, 2.6, 1.5, from, 4) }
	dip := func(from int) func(int) float64 { return bared(warm, 3, from, 4) }
	for name, c := range map[string]struct {
		came             []int // days
		born             int
		air, cluster     func(int) float64
		warning, notices int
	}{
		"she came every day":                     {[]int{0, 1, 2, 3, 4}, 8, nil, nil, 0, 0},
		"one visit is missed":                    {[]int{0, 1, 3, 4}, 8, nil, nil, 0, 0},
		"she stays away after the second day":    {[]int{0, 1}, 8, nil, nil, 1, 1},
		"she stays away after the first":         {[]int{0}, 8, nil, nil, 1, 1},
		"none was ever seen":                     {nil, 8, nil, nil, 0, 1},
		"a litter of five":                       {nil, 5, nil, nil, 0, 0},
		"no nest air":                            {nil, 8, nothing, nil, 0, 0},
		"no cluster":                             {nil, 8, nil, nothing, 0, 0},
		"how many were born is not known: seven": {[]int{0}, 0, nil, nil, 1, 1},
	} {
		t.Run(name, func(t *testing.T) {
			l := newborn(1)
			l[0].Born = c.born
			if c.air == nil {
				c.air = days(pulse, c.came...)
			}
			if c.cluster == nil {
				c.cluster = days(dip, c.came...)
			}
			_, events := trace{minutes: 5 * 1440, kind: brood.WoodenBox, litters: []litter.Litter{l[0]}, air: c.air, cluster: c.cluster, outside: constant(9)}.run(t)
			want(t, events, alarm.VisitOverdue, alarm.Raised, alarm.Warning, c.warning)
			want(t, events, alarm.VisitOverdue, alarm.Raised, alarm.Notice, c.notices)
		})
	}
}
