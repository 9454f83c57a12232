package simulated

import (
	"math"
	"time"
)

// Soil is the yearly wave of temperature in the ground: T = Mean - Amplitude·exp(-z/d)·cos(2π(t-t0)/P - z/d), d = sqrt(κP/π),
// Hillel 1982, the same as Kusuda & Achenbach 1965. The daily wave, damped to a fiftieth at 0.45 m, is left out.
type Soil struct {
	Mean        float64 // °C of the year
	Amplitude   float64 // K at the surface
	Coldest     float64 // day of the year when the surface is coldest, counted from 0
	Depth       float64 // m
	Diffusivity float64 // m²/s
	Year        float64 // days
}

// DefaultSoil goes with the climate of Year: 0.35 m deep, the surface swinging 0.9 times the air's 15 K (assumed), in ground
// between moist clay (0.40e-6 m²/s) and moist sand (0.99e-6), De Vries 1963.
func DefaultSoil() Soil {
	return Soil{Mean: climateMean, Amplitude: 0.9 * climateAmplitude, Coldest: climateColdest, Depth: 0.35, Diffusivity: 0.5e-6, Year: 365.25}
}

// At is the temperature, °C, at the depth.
func (s Soil) At(t time.Time) float64 {
	if s.Amplitude == 0 {
		return s.Mean
	}
	days := t.Sub(time.Date(t.Year(), 1, 1, 0, 0, 0, 0, t.Location())).Hours() / 24
	d := math.Sqrt(s.Diffusivity * 86400 * s.Year / math.Pi)
	return s.Mean - s.Amplitude*math.Exp(-s.Depth/d)*math.Cos(2*math.Pi*(days-s.Coldest)/s.Year-s.Depth/d)
}
