package brood

import (
	"time"

	"nestmon/thresholds/air"
)

// Heat at the doe, by the rabbit's temperature-humidity index (°C) and the dry bulb (°C).
const (
	DoeWarmDryBulb = 26.0 // notice: cooling starts here (trade press, secondary)

	DoeHeatWarn   = air.ModerateTHI   // index, warning: class edge, published
	DoeHeatHigh   = air.SevereTHI     // index, high warning: class edge, published
	DoeHeatUrgent = air.VerySevereTHI // index, urgent: cannot hold its temperature (Marai, Habeeb & Gad 2002), published

	DoeUrgentDryBulb = 35.0 // urgent whatever the index: rectal 40.5 °C (Lebas et al., FAO), published
)

// A doe not used to heat: in the first days above 28 °C after a cool spell every index step counts one higher.
const (
	UnacclimatedAbove         = 28.0 // °C, the day's warmest air (judgement)
	UnacclimatedDays          = 7    // how long heat is new (judgement)
	UnacclimatedAfterDays     = 14   // cooler days before, at least (judgement)
	UnacclimatedUrgentDryBulb = 32.0 // above it unacclimated stock may die (McNitt et al., Rabbit Production), published
)

// No relief at night: heat counts one step higher unless the index was below NightReliefTHI for NightReliefTime
// (judgement).
const (
	NightReliefTHI  = 26.0
	NightReliefTime = 4 * time.Hour
)

// Cold at the doe, dry bulb in °C (judgement: dry adults rest safely far lower; it is wind, wet fur and frozen water).
const (
	DoeColdNotice = 10.0
	DoeColdWarn   = -10.0
	DoeColdUrgent = -25.0
)

// Sources of the doe's limits.
const (
	DoeHeatSource    = "class edges of the rabbit heat index; at 30 a rabbit can no longer hold its temperature (Marai, Habeeb & Gad 2002, Livestock Production Science 78:71-90). One class lower in the first hot days, or after a night without relief: judgement"
	DoeDryBulbSource = "in air of 35 °C rabbits were at 40.5 °C (Lebas et al., FAO); above 32 °C those not used to heat may die (McNitt et al., Rabbit Production)"
	DoeColdSource    = "judgement: dry grown rabbits rest safely far lower; it is wind, wet fur and frozen water"
)
