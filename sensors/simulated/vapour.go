package simulated

import "math"

const kelvin = 273.15 // 0 °C in K

// saturation is the saturation vapour pressure over water, Pa, at t °C: Alduchov & Eskridge 1996, J. Appl. Meteor. 35:601,
// eq. 21, within 0.4 % from -40 to 50 °C by its authors.
func saturation(t float64) float64 { return 610.94 * math.Exp(17.625*t/(243.04+t)) }

// density is the absolute humidity, g/m³, of vapour at pressure e Pa in air at t °C: ideal gas, 1000/461.5 g·K/J.
func density(e, t float64) float64 { return 2.16679 * e / (t + kelvin) }

// saturated is the absolute humidity, g/m³, of saturated air at t °C.
func saturated(t float64) float64 { return density(saturation(t), t) }
