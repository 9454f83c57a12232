package thresholds

import (
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

// Config is all the domain has to know of the rabbitry.
type Config struct {
	Location  *time.Location
	AltitudeM float64       // m above sea level
	Poll      time.Duration // expected spacing of Observe
	Outside   string        // the shade-air probe, empty where there is none
	Battery   string        // the probe that measures the battery's voltage, empty where there is none
	LowVolts  float64       // V, of the battery below which it warns; nest.LowVolts where it is 0
	Probes    []sensors.Probe
	Nests     []nest.Config
	Limits    brood.Tables
	Days      litter.Days // when chores are due; as shipped where nothing is set
}
