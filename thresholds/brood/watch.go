package brood

import "time"

// The back-stop on the cluster probe itself, whatever any estimate says: below RawChill for RawChillDelay is a warning
// while kits are young, unless the probe is known to be out of the nest (judgement).
const (
	RawChill        = 15.0 // °C
	RawChillDelay   = 60 * time.Minute
	RawChillLastDay = 13
)

// The watch for the doe's visits. A free doe nurses 1.12 times a day, 84-86 % of it in the dark (Hoy & Selzer, World Rabbit
// Science, published); detecting it from a nest's temperature is nobody's published work, so the rest is judgement.
const (
	VisitKits        = 6  // kits, at least; smaller litters are nursed by another rhythm
	VisitFirstDay    = 1  // age in days
	VisitLastDay     = 20 // age in days
	VisitWarn        = 30 * time.Hour
	VisitUrgent      = 36 * time.Hour
	VisitOffAfter    = 30 * time.Hour // no watch for so long after kindling
	SmallVisitNotice = 12 * time.Hour // fewer than VisitKits kits: for information only
	SmallVisitLate   = 24 * time.Hour
)

// Sources of the watches.
const (
	RawChillSource = "judgement: a back-stop, whatever the estimate of the pile says"
	VisitSource    = "a free doe nurses 1.12 times a day (Hoy & Selzer, World Rabbit Science)"
	BeddingSource  = "common practice, no source"
)
