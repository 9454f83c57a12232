// Package air holds the physics of moist air and the rabbit's heat index, as pure functions of plain numbers.
//
// Units: temperatures in °C, relative humidity in percent from 0 to 100 (never a fraction), pressures in Pa, absolute
// humidity in g/m³, humidity ratio in kg of water per kg of dry air.
//
// Relative humidity is over water at every temperature, also below freezing: the convention of WMO and of the
// probes themselves. Tools that take it over ice below 0 °C answer another question with the same number, up to 3 °C
// away in dew point. A dew point here is over water too; the frost point is the other one, by its own name.
//
// The saturation curve is the Magnus form of WMO. It is within 0.31 % of the reference equation of the steam tables
// from -45 to 60 °C, which is 0.05 °C of dew point; outside that it is extrapolated. A probe of ±2 % RH and ±0.2 °C knows
// the dew point to 0.5 °C in damp air and to 3 °C in dry air, so the formula is never what limits it.
//
// The functions do not check their arguments and do not allocate: they run for every sample. Check refuses what they
// cannot work with.
package air
