package thresholds

import (
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/nest"
)

// Config is all the domain has to know of the rabbitry.
type Config struct {
	Location  *time.Location
	AltitudeM float64       // m above sea level
	Poll      time.Duration // expected spacing of Observe
	Outside   string        // the shade-air probe, empty where there is none
	Probes    []sensors.Probe
	Nests     []nest.Config
	Limits    brood.Tables
}
