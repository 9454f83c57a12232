package litter

// Days of gestation; day 0 is the day of breeding.
const (
	PregnancyFrom, PregnancyTo = 10, 14 // feel for kits: common practice, no source

	// BoxFrom is when the box goes in and BoxTo when it must be in: common practice; 28-29, earlier gets fouled (veterinary
	// text, secondary).
	BoxFrom, BoxTo = 27, 29

	// KindlingFrom to KindlingTo is the window, 28-35 (veterinary text, secondary). ExpectedFrom to ExpectedTo is the middle: the
	// means are 31.73 and 31.67 days of 390 and 346 kindlings (Rashwan, Szendrő et al., World Rabbit Science, published).
	KindlingFrom, KindlingTo = 28, 35
	ExpectedFrom, ExpectedTo = 31, 32

	// Overdue is from when she is late (common practice), CallVet from when dead kits are likely: after day 34 (veterinary
	// text, secondary).
	Overdue, CallVet = 33, 35
)

// Days of a litter; day 0 is the day of kindling.
const (
	// CollectFrom to CollectTo is when kits are taken up from a buried tote: common practice, no source; it fits eyes open
	// at about 10 and kits beginning to leave at 13 (Hudson & Distel 1982, as cited by later papers).
	CollectFrom, CollectTo = 10, 12
	// EmergedBy is when kits have come out of a nest by themselves, days 17 to 20 (as above).
	EmergedBy = 21

	TurnBox = 14 // on its side: common practice, no source

	// The box comes out at three weeks in summer and four in winter (common practice, no source); 15-21 "determined by
	// weather" (McNitt et al., Rabbit Production, published). Mild as winter is ours: too early costs more than too late.
	RemoveBoxSummer, RemoveBoxElse = 21, 28

	// WeanFrom to WeanTo is when kits can be weaned: 28-30 in experiments, 4-5 weeks in a veterinary text (secondary), 6-8
	// weeks common practice. WeanSuggested is ours, within all but the last.
	WeanFrom, WeanTo = 28, 56
	WeanSuggested    = 35
)
