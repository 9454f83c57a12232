package main

import (
	"math"
	"testing"
)

// The walls of a simulated nest, worked out by hand from its description: 12 mm of plywood of 0.13 W/mK on 0.585 m² lose 4.42 W/K behind
// a film of 0.04 m²K/W; 8300 J/K on that and the air that leaks take 30 min, and 1.5 min more to the probe.
func TestAnswerOfTheWalls(t *testing.T) {
	tau, share := shells["ply solid"].answer()
	if math.Abs(tau-31.5) > 0.2 || math.Abs(share-1) > 1e-9 {
		t.Errorf("ply: %.2f min, share %.3f", tau, share)
	}
	if _, share := shells["tote"].answer(); math.Abs(share-0.49) > 0.01 {
		t.Errorf("tote: share %.3f; its lid takes 2.63 W/K to the air and its walls 3 W/K to the soil", share)
	}
}

// What is learned of simulated nests of each make-up is what their walls are made of.
func TestLearnsTheWalls(t *testing.T) {
	long(t)
	for seed, most := range map[uint64]float64{5: 8, 11: 8, 12: 8, 13: 8, 14: 45} { // min: half of what they take, at most 45
		l := draw(seed, false)
		r, err := observe(l, oneProbe+1, nil)
		if err != nil {
			t.Fatal(err)
		}
		got := r.learned
		for _, c := range []struct {
			name        string
			value, true float64
			off, error  float64
			known       bool
		}{
			{"time constant", got.Follows.Value, r.true.tau, most, got.Follows.Error, got.Follows.Known},
			{"share", got.Share.Value, r.true.share, 0.2, got.Share.Error, got.Share.Known},
			{"warmth with kits", got.WarmKits.Value, r.true.warmth, 1.2, got.WarmKits.Error, got.WarmKits.Known},
			{"day's share", got.Damped.Value, r.true.damped, 0.15, got.Damped.Error, got.Damped.Known},
			{"day's lag", got.LateH.Value, r.true.late, 0.6, got.LateH.Error, got.LateH.Known},
		} {
			if !c.known || math.Abs(c.value-c.true) > c.off || c.error <= 0 || c.error > 4*c.off {
				t.Errorf("seed %d, %s: %s %.2f ± %.2f (known %v), true is %.2f", seed, l.makeup, c.name, c.value, c.error, c.known, c.true)
			}
		}
	}
}

// Two equal boxes and one with a lid that does not close: that one is said to be colder, and of three equal ones none is.
func TestTellsThePoorBox(t *testing.T) {
	long(t)
	for _, poor := range []int{1, -1} {
		all, err := village(4, poor, false)
		if err != nil {
			t.Fatal(err)
		}
		for i := range all {
			colder, warmer := all[i].tells()
			if colder != (i == poor) || warmer {
				t.Errorf("poor box %d: box %d says %q; truly %.2f K warmer", poor, i, all[i].Text, all[i].warmer)
			}
			if f := all[i].Neighbours; !f.Known || math.Abs(f.Value-all[i].warmer) > f.Error+0.3 {
				t.Errorf("poor box %d: box %d differs by %+v, truly %.2f", poor, i, f, all[i].warmer)
			}
		}
	}
}
