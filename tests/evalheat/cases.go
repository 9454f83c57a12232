package main

import (
	"fmt"
	"time"

	"nestmon/thresholds/alarm"
)

// cases lists single misses and false alarms, to be looked into one by one.
func (p *report) cases() {
	fmt.Fprintf(p.w, "\n== Cases\n   SIMULATED, %s world\n", p.world)
	for _, g := range []rig{oneProbe, twoProbes} {
		p.list(chillRules(g)[0], g, "chill", chillsOf, true)
		p.list(said("check-nest", g, alarm.Warning, alarm.CheckNest).renamed("urgent check-nest"), g, "check", chillsOf, false)
	}
	p.list(heatRules(oneProbe)[1], oneProbe, "heat", hotsOf, true)
	p.list(heatRules(oneProbe)[2], oneProbe, "expected", hotsOf, false)
	for _, r := range p.records {
		for _, g := range []rig{oneProbe, twoProbes} {
			switch t := r.judged[g].kindled(); {
			case t.IsZero() && !r.born.IsZero():
				fmt.Fprintf(p.w, "kindling never called, %s: %s\n", rigNames[g], p.whose(r))
			case !t.IsZero() && r.born.IsZero():
				fmt.Fprintf(p.w, "empty box called at %s, %s: %s\n", t.Format(stamp), rigNames[g], p.whose(r))
			case !t.IsZero() && t.Before(r.born):
				fmt.Fprintf(p.w, "kindling called %.1f h early, %s: %s\n", r.born.Sub(t).Hours(), rigNames[g], p.whose(r))
			}
		}
	}
}

const stamp = "01-02 15:04"

func (p *report) whose(r *record) string {
	return fmt.Sprintf("seed %d %s %s scenario %q instrument %q", r.seed, r.makeup, r.season, r.scenario, r.instrument(true))
}

func (p *report) list(rl rule, g rig, what string, which func(*record) []danger, misses bool) {
	for _, r := range p.records {
		stands, dangers := rl.stands(r), which(r)
		for _, d := range dangers {
			var h hits
			if h.meet(d, window(d, r.fault, true), stands); misses && h.hit == 0 {
				fmt.Fprintf(p.w, "miss of %s, %s: onset %s age %s for %.1f h deep %v cause %s: %s\n", what, rigNames[g], d.onset.Format(stamp), r.age(d.onset), d.end.Sub(d.onset).Hours(), d.deep, d.cause, p.whose(r))
			}
		}
		excused := r.excused(dangers)
		for _, s := range stands {
			if !within(excused, s.from) {
				fmt.Fprintf(p.w, "false %s, %s: %s age %s for %.1f h worst %v: %s\n", what, rigNames[g], s.from.Format(stamp), r.age(s.from), s.length().Hours(), s.rises[len(s.rises)-1].severity, p.whose(r))
			}
		}
	}
}

// age is in days, or a dash where there was no birth.
func (r *record) age(t time.Time) string {
	if r.born.IsZero() {
		return "-"
	}
	return fmt.Sprintf("%.2f", t.Sub(r.born).Hours()/24)
}
