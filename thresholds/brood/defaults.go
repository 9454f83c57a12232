package brood

import (
	"fmt"
	"time"
)

// Delays. A nursing uncovers the pile for up to 30 min after it (Hudson & Distel 1982, Behaviour 79:255), so a chill
// warning must wait longer than 45 min; the dip after a nursing does not reach the critical limit, so that may wait less.
// Heat is fast: day-0 kits passed 39 °C within the hour in hot air (Hull, Hull & Vinter 1986). All judgement. None was
// ever derived for nest air: there, heat waits as long as it does for the cluster, and cold as long as its chill.
const (
	coldDelay         = 60 * time.Minute
	coldCriticalDelay = 30 * time.Minute
	newbornInWinter   = 20 * time.Minute // critical cold, days 0-3: it cools faster
	heatDelay         = 20 * time.Minute
	heatCriticalDelay = 10 * time.Minute

	// From day 21 kits are furred and leave the nest by themselves.
	furredDelay         = 120 * time.Minute
	furredCriticalDelay = 60 * time.Minute
)

// Sources of the cluster's limits.
const (
	chillSource         = "judgement: near the lower critical temperature of kits, 32/28/24 °C at day 1/10/20 (Sanz et al. 1989, Animal Production)"
	chillCriticalSource = "judgement: 4 to 10 °C below the warning; day-0 kits still held 37.7 °C after 1 h in air of 28 °C (Hull, Hull & Vinter 1986, Neonatology 50:323)"
	heatSource          = "judgement: above what kits prefer, 38.0 ± 0.8 °C at day 0 and 30.4 ± 0.5 at day 14 (Hull, Hull & Vinter 1986, Neonatology 50:323)"
	heatCriticalSource  = "judgement: day-0 kits were at 39.9 °C after 1 h in air of 39 °C, 40.8 after 1 h at 41 (Hull, Hull & Vinter 1986, Neonatology 50:323)"
	furredSource        = "judgement: furred kits that leave the pile; information only"
)

// Sources of the nest air's limits.
const (
	airColdSource         = "judgement: farm floors of 8-10 °C (trade press, secondary) are for heated rooms; winter litters live far below 0 °C in deep lined nests (common practice)"
	airHeatSource         = "judgement: rabbits cool with all they have at 28 °C (trade press, secondary); ventilation is required from 29.4 °C in indoor housing (US rule, secondary)"
	airHeatCriticalSource = "judgement: in air of 35 °C adults were at 40.5 °C (Lebas et al., FAO) and a covered pile has almost no gradient left"
)

// DefaultTables gives the limits as shipped.
func DefaultTables() Tables {
	var t Tables
	for _, d := range []struct {
		from, to                               int     // days
		chill, chillCritical, hot, hotCritical float64 // °C
	}{
		{0, 3, 34, 30, 39, 40},
		{4, 7, 32, 28, 39, 40},
		{8, 13, 29, 24, 38.5, 40},
		{14, 20, 25, 18, 38, 39.5},
		{21, LastClusterDay, 15, 5, 36, 38},
	} {
		r := delays(d.from, d.to)
		at := fmt.Sprintf("cluster table, days %d-%d: ", d.from, d.to)
		r.cold.C, r.cold.Source = d.chill, at+chillSource
		r.coldCritical.C, r.coldCritical.Source = d.chillCritical, at+chillCriticalSource
		r.heat.C, r.heat.Source = d.hot, at+heatSource
		r.heatCritical.C, r.heatCritical.Source = d.hotCritical, at+heatCriticalSource
		if d.from >= furredFrom {
			r.cold.Source, r.cold.Notice = at+furredSource, true
		}
		t.cluster = append(t.cluster, r)
	}
	for _, d := range []struct {
		from, to                             int     // days
		cold, coldCritical, hot, hotCritical float64 // °C
	}{
		{0, 3, 15, 5, 30, 35},
		{4, 7, 12, 2, 30, 35},
		{8, 13, 8, -2, 29, 34},
		{14, 20, 4, -7, 28, 33},
		{21, LastDay, 0, -12, 28, 32},
	} {
		r := delays(d.from, d.to)
		at := fmt.Sprintf("nest-air table, days %d-%d: ", d.from, d.to)
		r.cold.C, r.cold.Source = d.cold, at+airColdSource
		r.coldCritical.C, r.coldCritical.Source = d.coldCritical, at+airColdSource
		r.heat.C, r.heat.Source = d.hot, at+airHeatSource
		r.heatCritical.C, r.heatCritical.Source = d.hotCritical, at+airHeatCriticalSource
		t.air = append(t.air, r)
	}
	return t
}

// furredFrom is the age in days from which the delays of furred kits hold.
const furredFrom = 21

// delays makes a row with the delays of its age.
func delays(from, to int) row {
	r := row{
		from: from, to: to, winterDelay: coldCriticalDelay,
		cold: Limit{Delay: coldDelay}, coldCritical: Limit{Delay: coldCriticalDelay},
		heat: Limit{Delay: heatDelay}, heatCritical: Limit{Delay: heatCriticalDelay},
	}
	switch {
	case from >= furredFrom:
		r.cold.Delay, r.coldCritical.Delay, r.winterDelay = furredDelay, furredCriticalDelay, furredCriticalDelay
	case to <= 3:
		r.winterDelay = newbornInWinter
	}
	return r
}
