package nest

import (
	"math"
	"testing"
)

// A steady fall is seen through blocks that are missing, wherever they are, and a pile that lies still is not made to fall by them.
func TestFallOfHalfAnHourThroughHoles(t *testing.T) {
	const slope = 0.01 // of the warmth in a block: 6 in a hundred in half an hour
	for _, missing := range [][]int{nil, {6}, {5, 6, 7}, {4, 5, 6, 7, 8}, {6, 7, 8, 9, 10}, {2, 3, 4, 5, 6}} {
		for _, by := range []float64{0, slope} {
			var falls trail
			falls.forget()
			for block := 20; block >= 0; block-- {
				falls.at = (falls.at + trailBlocks - 1) % trailBlocks
				falls.past[falls.at] = float32(-0.5 + by*float64(block))
			}
			for _, m := range missing {
				falls.past[(falls.at+m)%trailBlocks] = absent
			}
			if got := falls.quick(); math.Abs(got-halfHour*by) > 1e-6 {
				t.Errorf("blocks %v missing, %g a block: %g in half an hour, want %g", missing, by, got, halfHour*by)
			}
		}
	}
}

func TestNoFallWithoutAnythingToCompare(t *testing.T) {
	var young trail
	young.forget()
	young.past[young.at] = -0.5
	if got := young.quick(); got != 0 {
		t.Errorf("one block alone falls by %g", got)
	}
}
