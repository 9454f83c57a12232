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

	// ToteCondensing is how near, in °C, the dew point may come to the wall's or the soil's temperature. A probe of ±2 %
	// RH does not know the dew point better than 0.5 °C, so it needs a delay.
	ToteCondensing = 1.0
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
