package metrics

import (
	"slices"
	"time"

	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// nestEvents and siteEvents are the alarms that can stand for a nest and for the site. They exist with 0 from the start.
// Chores are counted apart, and have a severity here only while it is warning or above; what is only noted has none to show.
var (
	nestEvents = []alarm.Name{
		alarm.NestHeat, alarm.ClusterHeat, alarm.HeatExpected, alarm.ClusterChill, alarm.NestCold, alarm.DoeHeat, alarm.DoeCold,
		alarm.ToteWet, alarm.CheckNest, alarm.ProbeSilent, alarm.ProbeFault, alarm.VisitOverdue,
	}
	siteEvents = []alarm.Name{
		alarm.ProbeSilent, alarm.ProbeFault, alarm.BusFault, alarm.SinkFault, alarm.PowerFault, alarm.DaemonFault,
	}
)

type alarmKey struct {
	nest string
	name alarm.Name
}

// alarms writes what stands. Of two that share nest and event, for two probes say, the more severe and the earlier count.
func (w writer) alarms(s thresholds.Snapshot) {
	var order []alarmKey
	severity := map[alarmKey]alarm.Severity{}
	raised := map[alarmKey]time.Time{}
	unacked, chores := map[string]int{}, map[string]int{}
	know := func(k alarmKey) {
		if _, known := severity[k]; !known {
			severity[k] = alarm.None
			order = append(order, k)
		}
	}
	places := []string{""}
	for _, name := range siteEvents {
		know(alarmKey{"", name})
	}
	for _, n := range s.Nests {
		places = append(places, n.ID)
		for _, name := range nestEvents {
			know(alarmKey{n.ID, name})
		}
	}
	for _, a := range s.Alarms {
		if a.Name.Chore() {
			chores[a.Nest]++
		}
		if !thresholds.Alarming(a.Event) {
			continue
		}
		k := alarmKey{a.Nest, a.Name}
		know(k)
		severity[k] = max(severity[k], a.Severity)
		if t, known := raised[k]; !known || a.Time.Before(t) {
			raised[k] = a.Time
		}
		if a.Status.Calls() {
			unacked[a.Nest]++
		}
	}
	w.quieted(s)
	for _, k := range order {
		w.put(alarmSeverity, float64(severity[k]), k.nest, string(k.name))
		w.at(alarmRaised, raised[k], k.nest, string(k.name))
	}
	for _, nest := range places {
		w.put(alarmsUnacked, float64(unacked[nest]), nest)
		w.put(choresDue, float64(chores[nest]), nest)
	}
}

// quietedStatuses are those of alarms_quieted. What somebody has acknowledged needs no reminder.
var quietedStatuses = []alarm.Status{alarm.Shelved, alarm.OutOfService, alarm.Suppressed, alarm.Returned}

// quieted counts what calls nobody, so that nobody forgets it. One that is suppressed and was never on is nothing.
func (w writer) quieted(s thresholds.Snapshot) {
	type place struct {
		nest   string
		status alarm.Status
	}
	count := map[place]int{}
	for _, st := range slices.Concat(s.Alarms, s.Quiet) {
		if slices.Contains(quietedStatuses, st.Status) && (st.Status != alarm.Suppressed || st.On()) {
			count[place{st.Nest, st.Status}]++
		}
	}
	for at, n := range count {
		w.put(alarmsQuieted, float64(n), at.nest, string(at.status))
	}
}

func (w writer) nests(all []thresholds.NestState, old bool) {
	for _, n := range all {
		w.put(nestInfo, 1, n.ID, string(n.Kind), string(n.Stage))
		if n.Litter != nil {
			w.at(kindled, n.Litter.Kindled, n.ID)
		}
		if n.HasCore && !old {
			w.put(clusterCore, n.Core, n.ID)
		}
		for _, j := range n.Judged {
			w.bool(dangerJudged, j.Judged && !old, n.ID, j.Danger)
		}
		for _, l := range []struct {
			name  string
			limit *float64
		}{
			{"cluster-cold", n.Limits.ClusterCold},
			{"cluster-hot", n.Limits.ClusterHot},
			{"air-cold", n.Limits.AirCold},
			{"air-hot", n.Limits.AirHot},
			{"air-hot-urgent", n.Limits.AirHotUrgent},
		} {
			if l.limit != nil {
				w.put(nestLimit, *l.limit, n.ID, l.name)
			}
		}
	}
}
