package nest

import (
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Config is one nest as the keeper describes it. Probes are named by their ids.
type Config struct {
	ID      string
	Kind    brood.Kind
	Floor   brood.Floor
	Lined   bool     // a metal box lined with cardboard
	Cluster []string // none, one or two probes under the pile
	Air     string   // free air above the cover
	CO2     string
	Cage    string      // the doe's air, where she has her own probe
	DepthM  float64     // m, of a buried tote's floor
	Soil    string      // the soil round a tote, for the record
	Sealed  litter.Date // when a tote's lid and pipe were sealed last, none where not known
}
