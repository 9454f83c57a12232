package brood

import "time"

// Humidity in a box, % RH. Judgement: rabbits are sensitive below 55, 60-65 works, and near 100 in hot spells brings
// prostration (Lebas et al., FAO).
const (
	BoxDry     = 40.0 // notice below it for BoxDryTime
	BoxDryTime = 12 * time.Hour

	BoxDamp     = 80.0 // notice above it for BoxDampTime
	BoxDampTime = 6 * time.Hour

	BoxWet    = 85.0 // warning above it with the air above BoxWetAir, or with a chilled cluster
	BoxWetAir = 25.0 // °C
)

// Humidity in a buried tote, % RH. Judgement: burrows hold 70-90 (trade adviser) to near saturation (Lebas et al., FAO).
const (
	ToteUsualFrom = 70.0 // no message between these
	ToteUsualTo   = 95.0

	ToteWet     = 95.0 // warning above it for ToteWetTime
	ToteWetTime = 12 * time.Hour
)

// Where humidity can say something. Air near freezing holds so little water that dry and wet nests read alike, at or near 100 %, and
// a probe that was wet reads 100 for hours (judgement, 8-10 °C; on simulated nests wet, dry and unaired ones were alike at 5 °C).
const (
	DampJudgedAbove = 10.0 // °C of nest air
	DampJudgedBelow = 98.0 // % RH, for the amount of water; whether air is saturated can be said to the end of the scale
)

// Condensation: how near, in °C, the dew point may come to the temperature of the wall or soil. A probe of ±2 % RH does not know the
// dew point better than 0.5 °C (Vaisala HMT120 manual, table 49), so it needs a delay (judgement: as long as wet air).
const (
	CondensingWithin = 1.0
	CondensingTime   = 12 * time.Hour
)

const (
	toteSource = "judgement: burrows hold 70-90 % (trade adviser) to near saturation (Lebas et al., FAO)"
	boxSource  = "judgement: rabbits are sensitive below 55 %, near 100 % in hot spells brings prostration (Lebas et al., FAO)"
)

// HumidityLimits are the limits on the air in a nest, % RH, for one kind of nest. A tote has no dry limit.
type HumidityLimits struct {
	NoticeBelow, NoticeAbove, WarnAbove float64 // 0 where there is none
	Source                              string
}

// Humidity gives the humidity limits of a kind of nest.
func Humidity(k Kind) HumidityLimits {
	if k == BuriedTote {
		return HumidityLimits{WarnAbove: ToteWet, Source: toteSource}
	}
	return HumidityLimits{NoticeBelow: BoxDry, NoticeAbove: BoxDamp, WarnAbove: BoxWet, Source: boxSource}
}
