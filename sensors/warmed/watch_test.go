package warmed_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"nestmon/sensors/warmed"
)

const seeds = 200

// TestMeasured lives through simulated barns and prints what was found; the bounds are what was reached, with a little room. On 1000 seeds a row
// that nothing was chosen on: 99.7 % or more named, none wrongly, of 20 on one wire half within 18.7 s; where two were held equally closely none named
// in 2994 barns.
func TestMeasured(t *testing.T) {
	for _, row := range []struct {
		name          string
		probes, buses int
		fails         float64
		in20          float64 // least share named within 20 s of the grip
		found         float64 // least share named within a minute
	}{
		{"20 on one wire", 20, 1, 0, 0.65, 0.97},
		{"20 on one wire, one reading in twenty fails", 20, 1, 0.05, 0.4, 0.97},
		{"20 on four wires", 20, 4, 0, 0.97, 0.97},
		{"6 on one wire", 6, 1, 0, 0.97, 0.97},
		{"2 on one wire", 2, 1, 0, 0.97, 0.97},
		{"1 alone", 1, 1, 0, 0.95, 0.97},
	} {
		t.Run(row.name, func(t *testing.T) {
			var took []time.Duration
			wrong, fast := 0, 0
			for seed := range uint64(seeds) {
				b := newBarn(seed, row.probes, row.buses)
				b.fails = row.fails
				mine := int(seed) % row.probes
				got := b.run([]int{mine}, time.Duration(1+seed%20)*time.Second, time.Minute)
				switch {
				case got.State != warmed.Named:
				case got.Probe != mine:
					wrong++
				default:
					took = append(took, got.after)
					if got.after <= 20*time.Second {
						fast++
					}
				}
			}
			slices.Sort(took)
			found := float64(len(took)) / seeds
			t.Logf("SIMULATED, %d barns: named %.1f %%, within 20 s %.1f %%, wrong %d; median %v, nine in ten within %v",
				seeds, 100*found, 100*float64(fast)/seeds, wrong, took[len(took)/2].Round(100*time.Millisecond), took[len(took)*9/10].Round(100*time.Millisecond))
			if wrong > 0 || found < row.found || float64(fast)/seeds < row.in20 {
				t.Errorf("wrong %d (want 0), found %.3f (want %.2f), within 20 s %.3f (want %.2f)", wrong, found, row.found, float64(fast)/seeds, row.in20)
			}
		})
	}
}

// TestNobodyHoldsOne waits ten minutes beside probes nobody touches.
func TestNobodyHoldsOne(t *testing.T) {
	for _, probes := range []int{1, 2, 3, 20} {
		named, seeds := 0, seeds/4
		for seed := range uint64(seeds) {
			if got := newBarn(seed+1000, probes, 1).run(nil, 0, 10*time.Minute); got.State == warmed.Named {
				named++
			}
		}
		t.Logf("SIMULATED, %d barns of %d probes, ten minutes each: named %d", seeds, probes, named)
		if named > 0 {
			t.Errorf("%d probes: named %d times although nobody held one", probes, named)
		}
	}
}

// TestTwoAreHeld grips two at once, one of them closely or loosely. A probe that is nearly as warm as the hand is not warmed by it, and such
// barns are left out.
func TestTwoAreHeld(t *testing.T) {
	for _, row := range []struct {
		probes int
		loose  float64 // times the lag of the second
		named  int     // barns in 200 in which one may be named all the same; reached: 7 in 997
	}{{2, 1, 0}, {6, 1, 0}, {20, 1, 0}, {2, 2, 3}, {6, 2, 0}, {20, 2, 0}} {
		barns, named, said := 0, 0, 0
		for seed := range uint64(seeds) {
			b := newBarn(seed+2000, row.probes, 1)
			rng := rand.New(rand.NewPCG(seed, 2))
			mine := rng.Perm(row.probes)[:2]
			if b.hand-max(b.air[mine[0]], b.air[mine[1]]) < 3 {
				continue
			}
			b.loose = map[int]float64{mine[1]: row.loose}
			barns++
			got := b.run(mine, 3*time.Second, 30*time.Second)
			if got.State == warmed.Named {
				named++
			}
			if got.State == warmed.Several {
				said++
			}
		}
		t.Logf("SIMULATED, %d barns of %d probes, two held, one of them %g times as slow: named %d, refused %d", barns, row.probes, row.loose, named, said)
		if named > row.named*seeds/200 {
			t.Errorf("%d probes, two held, one of them %g times as slow: one was named %d times", row.probes, row.loose, named)
		}
	}
}

// TestUneasyCourses bends the courses of probes: the one that is held cools before it is warmed (a wet hand, a tip pulled out of its
// place), and others fall or swing back from a draught, in which nothing may be said of them.
func TestUneasyCourses(t *testing.T) {
	coolsFirst := func(rng *rand.Rand) func(s float64) float64 { // by 1.5 K, then it is warmed by 12 K in a minute
		falls, stays := 2+13*rng.Float64(), 10*rng.Float64()
		return func(s float64) float64 {
			return -1.5*min(s/falls, 1) + 12*min(max((s-falls-stays)/60, 0), 1)
		}
	}
	falls := func(rng *rand.Rand) func(s float64) float64 { // by 5 K
		from, lag := 60*rng.Float64(), 5+25*rng.Float64()
		return func(s float64) float64 { return -5 * (1 - math.Exp(-max(s-from, 0)/lag)) }
	}
	draught := func(rng *rand.Rand) func(s float64) float64 { // of 1.5 to 5 K, for 10 to 40 s
		deep, from, lasts, lag := 1.5+3.5*rng.Float64(), 60*rng.Float64(), 10+30*rng.Float64(), 3+12*rng.Float64()
		return func(s float64) float64 {
			within := min(max(s-from, 0), lasts)
			return -deep * (1 - math.Exp(-within/lag)) * math.Exp(-max(s-from-lasts, 0)/lag)
		}
	}
	type bends = func(rng *rand.Rand) func(s float64) float64
	for _, row := range []struct {
		name   string
		probes int
		held   bends
		others []bends
		found  float64 // least share named

		accused int // barns in 200 that may be told for a moment that another rises too; reached: 2 in 1000
	}{
		{"cools first by 1.5 K, then is warmed by 12 K", 5, coolsFirst, nil, 0.97, 0},
		{"cools first by 1.5 K, then is warmed by 12 K, alone", 1, coolsFirst, nil, 0.97, 0},
		{"cools first by 1.5 K, then is warmed by 12 K, of 20", 20, coolsFirst, nil, 0.97, 0},
		{"the same, and two others fall by 5 K", 5, coolsFirst, []bends{falls, falls}, 0.97, 1},
		{"two others fall by 5 K, none is held", 5, nil, []bends{falls, falls}, 0, 0},
		{"two of three fall by 5 K, none is held", 3, nil, []bends{falls, falls}, 0, 0},
		{"one of two falls by 5 K, none is held", 2, nil, []bends{falls}, 0, 0},
		{"a draught at one, none is held", 5, nil, []bends{draught}, 0, 0},
		{"a draught at two, none is held", 5, nil, []bends{draught, draught}, 0, 0},
	} {
		t.Run(row.name, func(t *testing.T) {
			var took []time.Duration
			wrong, accused := 0, 0
			for seed := range uint64(seeds) {
				b := newBarn(seed+4000, row.probes, 1)
				rng := rand.New(rand.NewPCG(seed, 3))
				order, mine := rng.Perm(row.probes), -1
				b.bends = map[int]func(s float64) float64{}
				if row.held != nil {
					mine, order = order[0], order[1:]
					b.bends[mine] = row.held(rng)
				}
				for i, other := range row.others {
					b.bends[order[i]] = other(rng)
				}
				got := b.run(nil, 0, 2*time.Minute)
				switch {
				case got.State != warmed.Named:
				case got.Probe != mine:
					wrong++
				default:
					took = append(took, got.after)
				}
				if len(got.several) > 0 {
					accused++
				}
			}
			slices.Sort(took)
			found := float64(len(took)) / seeds
			middle := time.Duration(0)
			if len(took) > 0 {
				middle = took[len(took)/2]
			}
			t.Logf("SIMULATED, %d barns: named %.1f %%, median %v, wrong %d, several said to be held in %d", seeds, 100*found, middle.Round(100*time.Millisecond), wrong, accused)
			if wrong > 0 || accused > row.accused*seeds/200 || found < row.found {
				t.Errorf("wrong %d (want 0), accused %d (want %d), named %.3f (want %.2f)", wrong, accused, row.accused*seeds/200, found, row.found)
			}
		})
	}
}

// One after another is how a barn is done: what was named cools, and the next one rises beside it.
func TestOneAfterAnother(t *testing.T) {
	found, wrong := 0, 0
	for seed := range uint64(50) {
		b := newBarn(seed+3000, 6, 1)
		b.air[0], b.air[4] = b.hand-12, b.hand-15
		first := b.run([]int{0}, 2*time.Second, time.Minute)
		if first.State != warmed.Named || first.Probe != 0 {
			continue
		}
		second := b.next(4, 20*time.Second, time.Minute)
		switch {
		case second.State != warmed.Named:
		case second.Probe == 4:
			found++
		default:
			wrong++
		}
	}
	t.Logf("SIMULATED, 50 barns: the second was named %d times, another %d times", found, wrong)
	if wrong > 0 || found < 45 {
		t.Errorf("the second: named %d times of 50, another %d times", found, wrong)
	}
}

func TestAProbeThatCannotBeReadIsNamedAsUnseen(t *testing.T) {
	w := warmed.New(3)
	now := time.Date(2031, 3, 9, 6, 0, 0, 0, time.UTC)
	for range 60 {
		i := w.Next([]int{0, 1, 2}, now)
		now = now.Add(conversion)
		if i == 1 {
			w.Fail(i, now)
		} else {
			w.Add(i, now, 12)
		}
	}
	if v := w.Verdict(now); v.State != warmed.Waiting || !slices.Equal(v.Blind, []int{1}) {
		t.Errorf("got %+v, want a wait without probe 1", v)
	}
}
