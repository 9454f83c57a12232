package nest

import (
	"fmt"
	"math"

	"nestmon/thresholds/air"
	"nestmon/thresholds/brood"
)

// Numbers of the temperature of a wall that no probe touches.
const (
	// wallShare is how far a wall's inside is on the way from the air outside to nest air: heat passes to a still wall inside through
	// 0.13 m²K/W and leaves it outside through 0.04 (ISO 6946, from memory), and 12 mm of wood or a sheet of cardboard are worth about 0.1.
	wallShare      = 0.5
	bareMetalShare = 0.25
	usualDepth     = 0.45 // m, of a tote whose depth is not entered; ours
	condenseBack   = 2.0  // °C from the wall ends it
	secondsInYear  = 365.25 * 24 * 60 * 60
)

// condense follows how near the dew point of nest air is to the wall's temperature, estimated from the air outside.
func (w *Watch) condense(n *Now) {
	d := &w.damp
	wall, known := w.wallNow(n)
	if !known || !w.dampSeen(n) {
		d.condensing.lost(n)
		return
	}
	d.dew, d.wall = air.DewPoint(w.air.value, w.airRH.value), wall
	d.condensing.step(n, d.dew > wall-brood.CondensingWithin, d.dew < wall-condenseBack, w.airRH.count, brood.CondensingTime)
}

// wallNow is the inside of a box's wall, or the soil round a tote, °C.
func (w *Watch) wallNow(n *Now) (c float64, known bool) {
	if !w.box() {
		return w.site.season.ground.at(w.depth())
	}
	if w.house.on || !w.site.air.Fresh(n) || !w.air.Fresh(n) {
		return 0, false
	}
	share := wallShare
	if w.cfg.Kind == brood.MetalBox && !w.cfg.Lined {
		share = bareMetalShare
	}
	return w.site.air.value + share*(w.air.value-w.site.air.value), true
}

func (w *Watch) depth() float64 {
	if w.cfg.DepthM > 0 {
		return w.cfg.DepthM
	}
	return usualDepth
}

func (w *Watch) condensingWords() string {
	of := "wall is about %s, estimated from nest air and the air outside"
	if !w.box() {
		of = "soil is about %s, estimated to 2 or 3 °C (4 or 5 °F) from weeks of air outside"
	}
	return fmt.Sprintf("water is likely to condense on the wall: the dew point is %s and the "+of, both(w.damp.dew), both(w.damp.wall))
}

// ground keeps the outside air's daily means, for the soil below. At a depth z the year's wave comes z/(d·ω) later, with d =
// sqrt(2κ/ω) (Hillel 1982; Kusuda & Achenbach 1965, published): an exponential mean with that time constant has about the same lag and
// takes out the daily wave. It leaves in what the soil takes off the year's own swing, and so errs by up to 1.6, 2.3 and 3.1 °C at 0.30, 0.45
// and 0.60 m (against that wave with a swing of 13 °C either way): enough to say that walls may drip, not that they do.
type ground struct {
	days [groundDays]float32 // °C, newest last
	n    int
}

// groundDays is the longest memory: the weeks of weather that a start reads back.
const groundDays = 35

func (g *ground) push(mean float64) {
	copy(g.days[:], g.days[1:])
	g.days[groundDays-1] = float32(mean)
	g.n = min(g.n+1, groundDays)
}

// lagDays is how many days later than at the surface the year's wave comes at a depth.
func lagDays(depth float64) float64 {
	omega := 2 * math.Pi / secondsInYear
	return depth / (math.Sqrt(2*soilDiffusivity/omega) * omega) / (24 * 60 * 60)
}

// at is the soil's temperature, °C; known once the days reach back by the lag.
func (g *ground) at(depth float64) (c float64, known bool) {
	lag := lagDays(depth)
	if float64(g.n) < min(lag, groundDays) || g.n == 0 {
		return 0, false
	}
	sum, weights := 0.0, 0.0
	for ago := range g.n {
		weight := math.Exp(-float64(ago) / lag)
		sum += weight * float64(g.days[groundDays-1-ago])
		weights += weight
	}
	return sum / weights, true
}
