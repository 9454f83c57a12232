package air

import "fmt"

// What the formulas are used for. Beyond it a value is a fault of the probe or of the person, not weather: the coldest
// and hottest air ever near a nest is well inside (ours, no source).
const (
	MinTemperature = -60.0 // °C
	MaxTemperature = 80.0  // °C
	MaxHumidity    = 100.0 // % RH; 0 itself has no dew point and is refused

	MinPressure = 30_000.0  // Pa, above the highest mountain (ours, no source)
	MaxPressure = 120_000.0 // Pa, below sea level in a high (ours, no source)
)

// Check refuses a temperature or relative humidity that the functions here cannot work with, NaN included.
func Check(tC, rh float64) error {
	if !(tC >= MinTemperature && tC <= MaxTemperature) {
		return fmt.Errorf("temperature %g °C is outside %g to %g °C; write degrees Celsius in that range",
			tC, MinTemperature, MaxTemperature)
	}
	if !(rh > 0 && rh <= MaxHumidity) {
		return fmt.Errorf("relative humidity %g %% is outside 0 (exclusive) to %g %%; write percent, 50 for one half",
			rh, MaxHumidity)
	}
	return nil
}

// CheckPressure refuses an air pressure that no place has, and one at which water of that air would boil.
func CheckPressure(tC, rh, pressurePa float64) error {
	if !(pressurePa >= MinPressure && pressurePa <= MaxPressure) {
		return fmt.Errorf("pressure %g Pa is outside %g to %g Pa; write pascals, %g at sea level",
			pressurePa, MinPressure, MaxPressure, SeaLevelPressure)
	}
	if e := VapourPressure(tC, rh); e >= pressurePa {
		return fmt.Errorf("pressure %g Pa is not above the vapour pressure %.0f Pa; write a higher pressure or a lower temperature",
			pressurePa, e)
	}
	return nil
}
