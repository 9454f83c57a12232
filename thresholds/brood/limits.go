package brood

import "time"

// Limit is one number that decides something.
type Limit struct {
	C      float64       // °C
	Delay  time.Duration // how long a reading must stay beyond it
	Source string        // where it comes from: table and row, confidence, reference
	Notice bool          // for information only, never more than a notice
}

// ClusterLimits are the limits for the pile of kits.
type ClusterLimits struct {
	ChillWarn, ChillCritical, HeatWarn, HeatCritical Limit
}

// AirLimits are the limits for the air in the nest.
type AirLimits struct {
	ColdWarn, ColdCritical, HeatWarn, HeatCritical Limit
}

// Deadband is how far, in °C, a value must come back across a limit before its alarm clears. It lies wholly on the
// clearing side and holds the ±0.5 °C of a probe, which is in no limit (judgement; 1 % of a range of -20 to 50 °C).
const Deadband = 0.7

const (
	// LastClusterDay is the last age in days with cluster limits: by then the nest is out (common practice).
	LastClusterDay = 28
	// LastDay is the last age in days that the tables know.
	LastDay = 99
)

// row holds the limits of one span of ages. Cluster and nest air have the same four.
type row struct {
	from, to           int // days, both inclusive
	cold, coldCritical Limit
	heat, heatCritical Limit
	winterDelay        time.Duration // of coldCritical
}

// Tables are the limits by age in force: the defaults, or the defaults with a configuration's rows laid over them.
type Tables struct {
	cluster, air []row // by age, without a gap
}

// Cluster gives the limits for the pile at an age in whole days. There are none above day 28 or when the age is not known
// (negative): ok is then false.
func (t *Tables) Cluster(ageDays int, s Season) (limits ClusterLimits, ok bool) {
	if ageDays < 0 || ageDays > LastClusterDay {
		return ClusterLimits{}, false
	}
	r := find(t.cluster, ageDays)
	return ClusterLimits{r.cold, r.critical(s), r.heat, r.heatCritical}, true
}

// Air gives the limits for the air in the nest at an age in whole days. A negative age means not known and is judged as
// newborn.
func (t *Tables) Air(ageDays int, s Season) AirLimits {
	r := find(t.air, max(ageDays, 0))
	return AirLimits{r.cold, r.critical(s), r.heat, r.heatCritical}
}

// find gives the row of an age; an age beyond the table is judged by the last row.
func find(rows []row, ageDays int) *row {
	for i := range rows {
		if ageDays <= rows[i].to {
			return &rows[i]
		}
	}
	return &rows[len(rows)-1]
}

// critical is the critical cold limit with its delay in that season.
func (r *row) critical(s Season) Limit {
	l := r.coldCritical
	if s == Winter {
		l.Delay = r.winterDelay
	}
	return l
}
