package web

import (
	"slices"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// overView is where a nest is past a limit in force of which no alarm of its own tells: there may be one soon, but all is not well.
type overView struct {
	Where  string `json:"where"`  // above or below
	Urgent bool   `json:"urgent"` // past the urgent limit, with no urgent alarm
}

// tells are the alarms that explain a nest past its limits.
var tells = map[string][]alarm.Name{"above": {alarm.NestHeat, alarm.ClusterHeat}, "below": {alarm.ClusterChill, alarm.NestCold}}

// warmPile reports whether a pile is judged to be warm enough although its probe, which lies beside it, reads less: chill is judged without a reservation, and the
// estimate of its middle is not under the limit.
func warmPile(n thresholds.NestState) bool {
	judged := slices.ContainsFunc(n.Judged, func(j thresholds.Judgement) bool { return j.Danger == "chill" && j.Judged && j.Why == "" })
	return judged && n.HasCore && n.Limits.ClusterCold != nil && n.Core >= *n.Limits.ClusterCold
}

// pastLimit is the worst of them, nil where there is none.
func pastLimit(n thresholds.NestState, alarms []alarm.Standing) *overView {
	told := func(where string, least alarm.Severity) bool {
		return slices.ContainsFunc(alarms, func(a alarm.Standing) bool {
			return a.Nest == n.ID && a.Severity >= least && slices.Contains(tells[where], a.Name)
		})
	}
	var past *overView
	for _, v := range n.Values {
		t := number(v.Value, v.Fresh)
		if t == nil || v.Quantity != sensors.Temperature {
			continue
		}
		cold, hot, urgent := n.Limits.ClusterCold, n.Limits.ClusterHot, (*float64)(nil)
		switch v.Role {
		case thresholds.Cluster:
		case thresholds.Air:
			cold, hot, urgent = n.Limits.AirCold, n.Limits.AirHot, n.Limits.AirHotUrgent
		default:
			continue
		}
		switch {
		case urgent != nil && *t > *urgent && !told("above", alarm.Urgent):
			return &overView{"above", true}
		case past != nil:
		case hot != nil && *t > *hot && !told("above", alarm.None):
			past = &overView{Where: "above"}
		case cold != nil && *t < *cold && !told("below", alarm.None) && (v.Role != thresholds.Cluster || !warmPile(n)):
			past = &overView{Where: "below"}
		}
	}
	return past
}
