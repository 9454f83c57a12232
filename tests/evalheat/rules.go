package main

import "nestmon/thresholds/alarm"

func chillsOf(r *record) []danger { return r.chills }
func hotsOf(r *record) []danger   { return r.hots }

// said is a rule of the decisions under evaluation: any of the names, at least so severe, as one rig raised it.
func said(name string, g rig, least alarm.Severity, names ...alarm.Name) rule {
	return rule{name, func(r *record) []stand { return standing(r.judged[g].events, r.end, least, names...) }}
}

func plainly(name string) rule {
	return rule{name, func(r *record) []stand { return r.fixed[name] }}
}

// chillRules are the rows of the chill tables for one rig.
func chillRules(g rig) []rule {
	n := rigNames[g]
	return []rule{
		said(n+": chill", g, alarm.Notice, alarm.ClusterChill),
		said(n+": chill, urgent only", g, alarm.Urgent, alarm.ClusterChill),
		said(n+": chill or check-nest", g, alarm.Notice, alarm.ClusterChill, alarm.CheckNest),
		said(n+": chill, check or cold, warning up", g, alarm.Warning, alarm.ClusterChill, alarm.CheckNest, alarm.NestCold),
	}
}

// heatRules are the rows of the heat table for one rig.
func heatRules(g rig) []rule {
	n := rigNames[g]
	return []rule{
		said(n+": nest-heat urgent", g, alarm.Urgent, alarm.NestHeat),
		said(n+": nest- or cluster-heat urgent", g, alarm.Urgent, alarm.NestHeat, alarm.ClusterHeat),
		said(n+": heat-expected or urgent", g, alarm.Urgent, alarm.NestHeat, alarm.ClusterHeat).or(said("", g, alarm.Notice, alarm.HeatExpected)),
		said(n+": any heat warning", g, alarm.Notice, alarm.NestHeat, alarm.ClusterHeat, alarm.HeatExpected),
	}
}

// or is either of two rules.
func (a rule) or(b rule) rule {
	return rule{a.name, func(r *record) []stand { return join(append(a.stands(r), b.stands(r)...)) }}
}

// renamed is a rule under another name.
func (a rule) renamed(name string) rule { return rule{name, a.stands} }
