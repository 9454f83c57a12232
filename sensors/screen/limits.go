package screen

import (
	"time"

	"nestmon/sensors"
)

// What a value may be. Bounds belong to the legal range.
const (
	coldest   = -40.0   // °C; ours: no inhabited nest or yard has been colder
	hottest   = 60.0    // °C; ours: a nest that hot is on fire, and 42 °C is the highest air of the weather records used
	absolute0 = -273.15 // °C, by definition

	driest, wettest = 0.0, 100.0 // % RH, by definition
	overWet         = 105.0      // % RH; up to here a drifted cell at condensation, clipped to 100; ours
	underDry        = -6.0       // % RH; the SHT4x formula -6 + 125·S/65535 spans from here (Sensirion SHT4x datasheet), clipped to 0

	leastCO2 = 250.0   // ppm; ours: outdoor air holds over 400, the rest is for a drifted cell
	mostCO2  = 40000.0 // ppm; output limit of the SCD4x, from memory

	leastVolts, mostVolts = 0.0, 60.0     // V; ours: a battery of 48 V while it is charged
	leastAmps, mostAmps   = -300.0, 300.0 // A; ours, and what the archive can hold
)

// code is a value by which a chip or a driver says that it measured nothing. All lie in the archive's steps.
type code struct {
	value float64 // °C
	fault sensors.Fault
}

// codes are refused for every probe: none lies within coldest..hottest, only the reason is more telling than the range's.
var codes = [...]code{
	{85, sensors.NotConverted},      // DS18B20 power-on, raw 0550 (datasheet table 1)
	{127.94, sensors.NotConverted},  // DS18B20 and clones, failed conversion, raw 07FF
	{-127, sensors.NoAnswer},        // 'disconnected' of other firmware, from memory
	{-273.15, sensors.NotConverted}, // zero kelvin: a driver's empty result after an error
}

// firstCode is a first value after a probe came back that a chip's register held before it measured.
type firstCode struct {
	chip  string
	value float64 // °C
}

var firstCodes = [...]firstCode{
	{sensors.ChipDS18B20D, 25}, // family D of cpetrich/counterfeit_DS18B20, README (2019)
	{sensors.ChipTMP102, 0},    // measured: register 0 until the first conversion
}

// pair is a temperature and a humidity that, read together, say that the chip is damaged or lost its calibration.
type pair struct {
	chip        string
	temperature float64 // °C
	humidity    float64 // % RH
	fault       sensors.Fault
}

var pairs = [...]pair{
	{sensors.ChipSHT4x, 42.5, 56.5, sensors.Broken}, // both words 8000: elixir-sensors/sht4x #29
	{sensors.ChipBME280, 0, 0, sensors.Impossible},  // zero calibration after a brown-out, measured
}

// oddness is when a value is marked suspect.
//
// Rate: |x - last| > most · (1 - exp(-gap/lag)): a body at most `most` away, seen through a probe of that time constant.
// Outlier: |x - median| > max(3 · 1.4826 · MAD, floor) over the last values (Hampel identifier; 1.4826 makes the median
// absolute deviation an estimate of the standard deviation of a normal distribution).
type oddness struct {
	most  float64 // the quantity's unit
	lag   float64 // s
	floor float64 // the quantity's unit; quiet quantised data have MAD 0
}

var oddnesses = [...]oddness{
	sensors.Temperature: {most: 50, lag: 45, floor: 0.6},      // chosen on simulated nests
	sensors.Humidity:    {most: 100, lag: 8, floor: 5},        // ours, no source
	sensors.CO2:         {most: mostCO2, lag: 60, floor: 300}, // ours, no source; 60 s is the SCD4x response time, from memory
	sensors.Voltage:     {most: mostVolts, lag: 1, floor: 5},  // ours, no source: a charger makes 12 V into 15 at once
	sensors.Current:     {most: mostAmps, lag: 1, floor: 100}, // ours, no source: a load comes and goes at once
}

const (
	hampelSpread = 3 * 1.4826
	window       = 7               // values; chosen on simulated nests
	leastWindow  = 3               // values below which no median is worth the name; ours
	longestGap   = 5 * time.Minute // beyond it neighbours say nothing of each other; ours
	shortestGap  = time.Second     // smaller or negative gaps (a clock set back) count as this; ours
)

// When a probe counts as stuck.
const (
	nestFrozen    = time.Hour      // same value so long while another probe of the nest moved by nestMoved
	nestMoved     = 3.0            // K; with nestFrozen 23 of 27 simulated stuck probes found, none false in 573
	outsideFrozen = 24 * time.Hour // temperature and humidity both; real weather has stood 19 h at one whole degree
)
