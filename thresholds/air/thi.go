package air

// The rabbit's temperature-humidity index: ALPA journal, "Physiological response of rabbits to a thermoducting
// environmental enrichment" (year not recorded). The livestock index in °F is another index under the same class names,
// with 0.55 for 0.31 once it is in °C: never compare the two, never convert one into the other.
const (
	thiSlope = 0.31
	thiPivot = 14.4 // °C, where humidity has no effect
)

// The classes' lower edges, °C, half open: a value on an edge belongs to the higher class. 82, 84 and 86 °F rounded as the
// rabbit literature prints them; at 30 a rabbit can no longer hold its temperature (Marai, Habeeb & Gad 2002, Livestock
// Production Science 78:71-90).
const (
	ModerateTHI   = 27.8
	SevereTHI     = 28.9
	VerySevereTHI = 30.0
)

// ClassedFrom is the dry bulb, °C, from which a class is given (ours, no source): in cold air the index means nothing, and
// below 14.4 °C it is above the air itself.
const ClassedFrom = 20.0

// HeatClass is a class of the rabbit's temperature-humidity index.
type HeatClass string

// The heat classes.
const (
	NotClassed HeatClass = "not-classed"
	NoStress   HeatClass = "none"
	Moderate   HeatClass = "moderate"
	Severe     HeatClass = "severe"
	VerySevere HeatClass = "very-severe"
)

// THI is the rabbit's temperature-humidity index of air of tC and rh, in °C.
func THI(tC, rh float64) float64 {
	// Written so that 100 % RH gives tC itself, and converted so that no compiler fuses product and difference: a
	// value on a class edge must fall into the same class on every board.
	return tC - float64(thiSlope*(1-rh/100)*(tC-thiPivot))
}

// Class is the class of an unrounded index, measured in air of tC.
func Class(thi, tC float64) HeatClass {
	switch {
	case tC < ClassedFrom:
		return NotClassed
	case thi < ModerateTHI:
		return NoStress
	case thi < SevereTHI:
		return Moderate
	case thi < VerySevereTHI:
		return Severe
	}
	return VerySevere
}
