package air

import "math"

// SeaLevelPressure is the standard atmosphere in Pa.
const SeaLevelPressure = 101_325.0

// The standard atmosphere below 11 km: ASHRAE Handbook Fundamentals 2017, chapter 1, equation 3, after the U.S. Standard
// Atmosphere 1976.
const (
	lapsePerMetre    = 2.25577e-5 // 1/m
	pressureExponent = 5.2559
)

// PressureAt is the air pressure in Pa at altitudeM metres in the standard atmosphere. Weather moves the real one by
// about ±3 % (from memory).
func PressureAt(altitudeM float64) float64 {
	return SeaLevelPressure * math.Pow(1-lapsePerMetre*altitudeM, pressureExponent)
}
