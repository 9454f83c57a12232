package simulated

import (
	"math"
	"math/rand/v2"
)

// place is where the cluster lies from its probes.
type place struct {
	r      *rand.Rand
	still  bool
	decay  float64 // cm over which warmth falls to 1/e
	sd     float64 // cm of wander
	wander float64 // cm
	smooth float64 // cm
	jump   float64 // cm, moving
	goal   float64 // cm
	side   float64 // of the second probe, +1 the same way
	rest   float64 // s until it is back
	lag    float64 // s of a move
}

func newPlace(r *rand.Rand, nominal, shifted bool) place {
	p := place{r: r, still: nominal, decay: decayLength, sd: wanderSD, side: 1}
	if shifted {
		p.decay, p.sd = uniform(r, shiftedDecayLo, shiftedDecayHi), shiftedWander
	}
	p.lag = jumpLag
	if shifted {
		p.lag = uniform(r, shiftedJumpLo, shiftedJumpHi)
	}
	return p
}

// move lets the cluster wander and jump through dt seconds, with kits of that age.
func (p *place) move(dt, age float64) {
	if p.still {
		return
	}
	keep := 1 - dt/wanderTime
	p.wander = keep*p.wander + p.sd*math.Sqrt(1-keep*keep)*p.r.NormFloat64()
	p.smooth = follow(p.smooth, p.wander, wanderSmooth, dt)
	p.jump = follow(p.jump, p.goal, p.lag, dt)
	rate := jumpsYoung
	if age >= jumpsOlder {
		rate = jumpsOld
	}
	if p.rest > 0 {
		if p.rest -= dt; p.rest <= 0 {
			p.goal = 0
		}
	} else if p.r.Float64() < rate*dt/86400 {
		p.goal, p.rest = uniform(p.r, farLo, farHi), 3600*uniform(p.r, jumpMin, jumpMax)
		p.side = 1
		if p.r.Float64() < towardSecond {
			p.side = -1
		}
	}
}
