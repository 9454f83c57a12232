package air

import "math"

// Magnus coefficients of WMO, over water (-45 to 60 °C) and over ice (-65 to 0.01 °C). Water: WMO-No. 8 Annex 4.B as
// quoted in the Vaisala AWS330 manual, appendix B. Ice: as coded in the public npm package dewpoint 1.0.0, within
// 0.052 % of the IAPWS sublimation equation. WMO-No. 8 itself was not read.
const (
	magnusPa = 611.2 // Pa at 0 °C, both curves

	waterA = 17.62
	waterB = 243.12 // °C

	iceA = 22.46
	iceB = 272.62 // °C
)

// zeroC is 0 °C in kelvin.
const zeroC = 273.15

// vapourGasConstant turns vapour pressure over absolute temperature into g/m³ (g·K/J): Vaisala HMT120 manual, A.7.
const vapourGasConstant = 2.16679

// moleRatio is the molar mass of water over that of dry air: ASHRAE Handbook Fundamentals 2017, chapter 1, equation 20.
const moleRatio = 0.621945

// SaturationPressure is the vapour pressure in Pa over water at tC, supercooled water below 0 °C.
func SaturationPressure(tC float64) float64 {
	return magnusPa * math.Exp(waterA*tC/(waterB+tC))
}

// SaturationPressureIce is the vapour pressure in Pa over ice at tC, which must not be above 0 °C.
func SaturationPressureIce(tC float64) float64 {
	return magnusPa * math.Exp(iceA*tC/(iceB+tC))
}

// VapourPressure is the pressure in Pa of the water vapour in air of tC and rh.
func VapourPressure(tC, rh float64) float64 {
	return rh / 100 * SaturationPressure(tC)
}

// DewPoint is the temperature in °C at which air of tC and rh would be saturated over water. It is never above tC.
func DewPoint(tC, rh float64) float64 {
	x := math.Log(rh/100) + waterA*tC/(waterB+tC)
	return min(waterB*x/(waterA-x), tC) // the last bit may land above tC at 100 % RH
}

// FrostPoint is the temperature in °C at which air of tC and rh would be saturated over ice: where hoar begins. ok is
// false when the dew point is above 0 °C, where there is none.
func FrostPoint(tC, rh float64) (frostC float64, ok bool) {
	x := math.Log(rh/100) + waterA*tC/(waterB+tC)
	if x > 0 {
		return 0, false
	}
	return iceB * x / (iceA - x), true
}

// AbsoluteHumidity is the water in air of tC and rh, in g/m³.
func AbsoluteHumidity(tC, rh float64) float64 {
	return vapourGasConstant * VapourPressure(tC, rh) / (zeroC + tC)
}

// HumidityRatio is the water in air of tC and rh at pressurePa, in kg per kg of dry air. CheckPressure says which
// pressures it can take.
func HumidityRatio(tC, rh, pressurePa float64) float64 {
	e := VapourPressure(tC, rh)
	return moleRatio * e / (pressurePa - e)
}
