package thresholds

import (
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

// Snapshot is everything there is to show at one instant: whole, self-contained and never changed after it was made.
type Snapshot struct {
	Time    time.Time
	Outside Place
	Battery Place // no values where there is none
	Season  brood.Season
	Nests   []NestState
	Alarms  []alarm.Standing // alarms and chores that are on, the most severe first
	Quiet   []alarm.Standing // not on and not normal: over and not seen, shelved, suppressed, out of service
	Doubts  []Doubt          // what speaks against a probe, each once, place by place
}

// Doubt is one reason not to trust a probe.
type Doubt struct {
	Probe string
	Why   nest.Doubt
}

// Place is a spot with probes.
type Place struct {
	Values []Value
	THI    float64 // rabbit temperature-humidity index of that air; valid where HasTHI
	HasTHI bool
}

// NestState is one nest at one instant.
type NestState struct {
	ID       string
	Kind     brood.Kind
	Values   []Value
	Litter   *litter.Litter // nil when no litter is entered
	AgeDays  int            // whole days since kindling, -1 when not known
	Stage    Stage
	Limits   LimitsInForce
	Core     float64 // estimate of the cluster's core, °C; valid where HasCore
	HasCore  bool
	Severity alarm.Severity // the highest that stands for this nest, chores that are only notices apart
	Judged   []Judgement    // what is watched and what cannot be, in plain words
	Learned  Learned        // what is known of the nest itself, as far as it is
}

// Learned is what is learned of a nest.
type Learned = nest.Learned

// Figure is one figure of it, and how well it is known.
type Figure = nest.Figure

// Stage is where a nest is in the litter clock.
type Stage string

// The stages.
const (
	Empty    Stage = "empty"   // no litter entered
	Bred     Stage = "bred"    // before the box is due
	Waiting  Stage = "waiting" // box in, kindling expected
	Nursing  Stage = "nursing" // kits in the nest
	OutOfBox Stage = "out"     // old enough to have left the nest
)

// Stages lists the stages.
var Stages = []Stage{Empty, Bred, Waiting, Nursing, OutOfBox}

// Judgement says whether one danger is being judged now and, if not, why. Silence is never shown as fine.
type Judgement struct {
	Danger string // heat, chill, cold, damp
	Judged bool
	Why    string // in plain words where it is not judged
}

// Role is what a probe is for.
type Role string

// The roles. A second cluster probe is Cluster2.
const (
	Cluster  Role = "cluster"
	Cluster2 Role = "cluster-2"
	Air      Role = "air"
	CO2      Role = "co2"
	Cage     Role = "cage"
	Outside  Role = "outside"
	Battery  Role = "battery"
)

// Value is the newest usable value of one quantity in one role, or its absence.
type Value struct {
	Role     Role
	Probe    string
	Quantity sensors.Quantity
	Value    float64   // °C, % RH, ppm, V or A; valid where Fresh
	Time     time.Time // when it was measured; zero when there never was one
	Fresh    bool      // young enough to act on
}

// LimitsInForce are the limits that apply to a nest now. A nil limit is not in force.
type LimitsInForce struct {
	ClusterCold, ClusterHot *float64 // °C, warning limits on the core estimate and the cluster probe
	AirCold, AirHot         *float64 // °C, warning limits on nest air
	AirHotUrgent            *float64 // °C
}
