package simulated

import "math"

// relax is the one integrator of the model. It moves a node x, whose store is c, through dt while
//
//	c dx/dt = inflow - g x
//
// with inflow and g held: exact for one node, first order in dt where neighbours move too, stable at any step. Heat nodes,
// vapour, sorption, CO2, cover and the lag of probes all go through it.
func relax(x, c, g, inflow, dt float64) float64 {
	return x + (inflow/g-x)*-math.Expm1(-g*dt/c)
}

// follow is relax for something that follows its input with time constant tau.
func follow(x, input, tau, dt float64) float64 { return relax(x, tau, 1, input, dt) }

func clamp(x, lo, hi float64) float64 { return min(max(x, lo), hi) }
