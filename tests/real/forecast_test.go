package real_test

import (
	"fmt"
	"slices"
	"testing"
	"time"
)

// crossing is a day on which real air passed a limit.
type crossing struct {
	at  time.Time
	top float64 // °C, the highest of that spell
}

// minuteAir is an hourly series drawn straight from report to report, every ten minutes; a gap of more than three hours ends a stretch.
func minuteAir(t *testing.T, file string) (at []time.Time, air []float64) {
	t.Helper()
	var last time.Time
	var was float64
	for _, row := range table(t, "NESTMON_WEATHER", file) {
		if row["temp_c"] == "" {
			continue
		}
		now, err := time.Parse(time.RFC3339, row["time"])
		if err != nil {
			t.Fatal(err)
		}
		v := number(t, row["temp_c"])
		if gap := now.Sub(last); !last.IsZero() && gap <= 3*time.Hour {
			for x := last.Add(10 * time.Minute); x.Before(now); x = x.Add(10 * time.Minute) {
				at, air = append(at, x), append(air, was+(v-was)*float64(x.Sub(last))/float64(gap))
			}
		}
		at, air = append(at, now), append(air, v)
		last, was = now, v
	}
	return at, air
}

// crossings are the times at which air passed a limit upward; a spell ends 2 K under it.
func crossings(at []time.Time, air []float64, limit float64) (all []crossing) {
	over := false
	for i, v := range air {
		switch {
		case v > limit && !over:
			over = true
			all = append(all, crossing{at[i], v})
		case v < limit-2:
			over = false
		}
		if over {
			all[len(all)-1].top = max(all[len(all)-1].top, v)
		}
	}
	return all
}

// foreseen is how alarms met crossings: leads in minutes of those that came before one, by at most four hours, and alarms that none followed.
func foreseen(all []crossing, alarms []time.Time) (leads []float64, idle int) {
	for _, c := range all {
		for _, a := range alarms {
			if lead := c.at.Sub(a); lead >= 0 && lead <= 4*time.Hour {
				leads = append(leads, lead.Minutes())
				break
			}
		}
	}
	for _, a := range alarms {
		if !slices.ContainsFunc(all, func(c crossing) bool { lead := c.at.Sub(a); return lead >= -time.Hour && lead <= 4*time.Hour }) {
			idle++
		}
	}
	slices.Sort(leads)
	return leads, idle
}

// Real hourly air in place of a nest's, against a limit that it passes on some thirty days: what the expectation of two hours
// gives, beside a plain limit one degree lower and beside yesterday come again. No nest: a litter and its doe add their own.
func TestExpectationOfRealAir(t *testing.T) {
	for _, c := range []struct {
		file, zone string
		limit      float64
	}{{"beijing_2010_year.csv", "Asia/Shanghai", 32}, {"nyc_ewr_2013_year.csv", "America/New_York", 30}} {
		t.Run(c.file, func(t *testing.T) {
			at, air := minuteAir(t, c.file)
			var rows []string
			for i := range at {
				rows = append(rows, fmt.Sprintf("%s,oak-air,%.2f,", at[i].Format(time.RFC3339), air[i]))
			}
			config := fmt.Sprintf("site: {id: weather, timezone: %s}\nprobes: [{id: oak-air, source: recorded}]\nnests: [{id: oak, kind: wooden-box, air: oak-air}]\nlimits: {nest_air: [{from: 0, to: 3, heat_warn: %g, heat_critical: %g}]}\n", c.zone, c.limit-5, c.limit)
			var alarms []time.Time
			for _, e := range replay(t, config, rows) {
				if e.Event == "heat-expected" && e.State == "raised" {
					alarms = append(alarms, e.Time)
				}
			}
			all := crossings(at, air, c.limit)
			leads, idle := foreseen(all, alarms)
			tell := func(name string, leads []float64, idle int) {
				median := 0.0
				if len(leads) > 0 {
					median = leads[len(leads)/2]
				}
				t.Logf("%s: %d of %d crossings of %g °C foreseen, median lead %.0f min, %d alarms that none followed", name, len(leads), len(all), c.limit, median, idle)
			}
			tell("heat-expected", leads, idle)
			var lower, again []time.Time
			for _, x := range crossings(at, air, c.limit-1) {
				lower = append(lower, x.at)
			}
			for _, x := range all { // yesterday's spell, two hours before it comes again
				again = append(again, x.at.Add(22*time.Hour))
			}
			lowerLeads, lowerIdle := foreseen(all, lower)
			tell("a limit 1 K lower", lowerLeads, lowerIdle)
			againLeads, againIdle := foreseen(all, again)
			tell("yesterday again", againLeads, againIdle)
			if len(all) < 20 {
				t.Fatalf("only %d crossings: the series or the limit is wrong", len(all))
			}
			if share := float64(len(leads)) / float64(len(all)); share < 0.75 {
				t.Errorf("%.2f of the crossings were foreseen", share)
			}
			if len(leads) > 0 && leads[len(leads)/2] < lowerLeads[len(lowerLeads)/2] {
				t.Error("a plain limit one degree lower is as early")
			}
			if len(leads) <= len(againLeads) {
				t.Error("yesterday come again foresees as much")
			}
		})
	}
}
