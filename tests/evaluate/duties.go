package main

import (
	"fmt"
	"slices"
	"time"

	"nestmon/thresholds/alarm"
)

// duties are the faults that have an answer other than chill and heat.
func (p *report) duties() {
	scenario := func(name string) func(*record) span {
		return func(r *record) span {
			if r.scenario == name {
				return r.fault
			}
			return span{}
		}
	}
	broken := func(kind string) func(*record) span {
		return func(r *record) span {
			switch {
			case kind == "swapped" && r.swapped && !r.born.IsZero():
				return span{r.start, r.end}
			case kind == r.probes[0].kind && !r.born.IsZero():
				return span{r.probes[0].when.from, r.probes[0].when.to.Add(excuseAfter)}
			}
			return span{}
		}
	}
	named := func(name alarm.Name, units ...string) func(alarm.Event) bool {
		return func(e alarm.Event) bool {
			return e.Name == name && (len(units) == 0 || slices.Contains(units, e.Unit))
		}
	}
	quiet := func(r *record) bool { return r.scenario == "" && r.instrument(true) == "" }
	sound := func(r *record) bool { return r.instrument(true) == "" }
	var rows [][]string
	for _, c := range []struct {
		name   string
		g      rig
		raised func(alarm.Event) bool
		wrong  func(*record) span
		sound  func(*record) bool
	}{
		{"wet: ventilation-due by moisture", oneProbe, named(alarm.VentilationDue, "g/m3"), scenario("wet"), quiet},
		{"wet: ventilation-due by humidity", oneProbe, named(alarm.VentilationDue, "%"), scenario("wet"), quiet},
		{"wet: tote-wet", oneProbe, named(alarm.ToteWet), scenario("wet"), quiet},
		{"vent blocked: ventilation-due, no CO2", oneProbe, named(alarm.VentilationDue), scenario("vent blocked"), quiet},
		{"vent blocked: ventilation-due by CO2", twoProbes, named(alarm.VentilationDue, "ppm"), scenario("vent blocked"), quiet},
		{"probe pulled: check-nest", oneProbe, named(alarm.CheckNest), scenario("probe pulled"), quiet},
		{"death: check-nest or chill", oneProbe, func(e alarm.Event) bool { return e.Name == alarm.CheckNest || e.Name == alarm.ClusterChill }, scenario("death"), quiet},
		{"stuck: probe-fault", oneProbe, named(alarm.ProbeFault), broken("stuck"), sound},
		{"stuck: probe-fault, two probes", twoProbes, named(alarm.ProbeFault), broken("stuck"), sound},
		{"drift: probe-fault", oneProbe, named(alarm.ProbeFault), broken("drift"), sound},
		{"drift: check-nest", oneProbe, named(alarm.CheckNest), broken("drift"), sound},
		{"drift: probe-fault, two probes", twoProbes, named(alarm.ProbeFault), broken("drift"), sound},
		{"flaky: probe-fault", oneProbe, named(alarm.ProbeFault), broken("flaky"), sound},
		{"swapped: probe-fault", oneProbe, named(alarm.ProbeFault), broken("swapped"), sound},
		{"swapped: probe-fault, two probes", twoProbes, named(alarm.ProbeFault), broken("swapped"), sound},
		{"swapped: check-nest", oneProbe, named(alarm.CheckNest), broken("swapped"), sound},
	} {
		f := answers(p.records, c.g, c.raised, c.wrong, c.sound)
		rows = append(rows, []string{
			c.name, fmt.Sprint(f.litters), fmt.Sprint(f.in), fmt.Sprint(f.outside), hours(quantile(f.delays, 0.5)),
			fmt.Sprintf("%d of %d", f.fires, f.sound), percent(wilson(f.fires, f.sound)),
		})
	}
	p.table("Bedding, ventilation, probes", "Litters with the fault; fired inside its time, only outside it; the sound litters have no scenario and, for probes, no instrument fault.",
		[]string{"answer", "litters", "inside", "only outside", "delay h p50", "sound litters fired", "% [95 %]"}, rows)
}

// bedding lays the load clock beside the water that truly lies in the nest: before the calendar's first day, is it the wetter nests that are
// asked for?
func (p *report) bedding() {
	var rows [][]string
	for _, d := range []int{10, 11, 12, 13} {
		var called, others []float64
		for _, r := range p.records {
			if r.scenario != "" || len(r.water) < d || !r.died.IsZero() {
				continue
			}
			by := r.born.Add(time.Duration(d) * day)
			due := slices.ContainsFunc(r.judged[oneProbe].events, func(e alarm.Event) bool {
				return e.Name == alarm.BeddingDue && e.State == alarm.Raised && !e.Time.After(by)
			})
			if due {
				called = append(called, r.water[d-1])
			} else {
				others = append(others, r.water[d-1])
			}
		}
		rows = append(rows, []string{
			fmt.Sprint(d), fmt.Sprint(len(called)), fmt.Sprint(len(others)), grams(called), grams(others),
		})
	}
	p.table("Bedding, before the calendar's day 14", "Litters that nothing befell, one probe; nobody changes bedding in this study. Free water in the nest, g p10/50/90.",
		[]string{"day", "due by load", "not due", "water where due", "water where not"}, rows)
}

func grams(v []float64) string {
	if len(v) == 0 {
		return "-"
	}
	return fmt.Sprintf("%.0f/%.0f/%.0f", quantile(v, 0.1), quantile(v, 0.5), quantile(v, 0.9))
}
