package nest

import "nestmon/thresholds/brood"

// Relimit tells that the tables have changed while the watch runs. What is on stays on until its rule ends it by the new limits. A delay
// that runs goes on only where the newest value is beyond the new limit too.
func (w *Watch) Relimit(n *Now) {
	air, cluster, young := w.Limits()
	if w.air != nil {
		v := w.air.value
		w.heat.relimit(v > air.HeatWarn.C, v > air.HeatCritical.C)
		w.cold.relimit(v < air.ColdWarn.C, v < air.ColdCritical.C)
	}
	if c := w.warmest(n); c != nil {
		w.clusterHeat.relimit(c.value > cluster.HeatWarn.C, c.value > cluster.HeatCritical.C)
	}
	if young && w.pile.chill.judged {
		w.pile.chill.relimit(w, n, cluster)
	}
}

func (l *levels) relimit(warn, crit bool) {
	l.warn.relimit(warn)
	l.crit.relimit(crit)
}

func (d *dwell) relimit(beyond bool) {
	if !d.on && !beyond {
		*d = dwell{}
	}
}

func (c *chill) relimit(w *Watch, n *Now, lim brood.ClusterLimits) {
	e := w.evidence(n)
	for v, l := range map[*ruling]brood.Limit{&c.warn: lim.ChillWarn, &c.crit: lim.ChillCritical} {
		if lost, known := e.lost(); !v.on && known && lost <= loss(l.C, w.pile.a.value) {
			*v = ruling{}
		}
	}
}
