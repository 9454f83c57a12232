package main

import (
	"fmt"

	"nestmon/thresholds/alarm"
)

// goals prints the few figures that matter beside what they must reach.
func (p *report) goals(k kindlings, v visitScore) {
	var rows [][]string
	row := func(what, goal, got string) { rows = append(rows, []string{what, goal, got}) }
	of := func(got string, dangers int) string { return got + fewNote(dangers) }
	for _, g := range []rig{oneProbe, deadProbe, unentered} {
		s := measure(said("", g, alarm.Notice, alarm.NestHeat, alarm.ClusterHeat), p.records, hotsOf, nil)
		row("heat found before the core passes 40 C, "+rigNames[g], "100 %", of(percent(wilson(s.strict.before, s.strict.n))+fmt.Sprintf(" of %d", s.strict.n), s.strict.n))
	}
	urgent := measure(said("", oneProbe, alarm.Urgent, alarm.NestHeat, alarm.ClusterHeat), p.records, hotsOf, nil)
	row("urgent heat found before the core passes 40 C", "100 %", of(percent(wilson(urgent.strict.before, urgent.strict.n)), urgent.strict.n))
	row("false urgent heat /week", "<= 0.15", perWeek(urgent.rate()))
	row("  of those, stood until the core passed 40 C, longer than 3 h", "", bare(float64(urgent.foretold)/urgent.cleanWeeks()))
	expected := measure(heatRules(oneProbe)[2], p.records, hotsOf, nil)
	row("lead of heat-expected or urgent, median min", ">= 120", of(lead(&expected), len(expected.strict.edges)))
	row("false heat-expected or urgent /week", "<= 0.5", perWeek(expected.rate()))
	warned := measure(heatRules(oneProbe)[3], p.records, hotsOf, nil)
	row("lead of any heat warning, median min", ">= 120", of(lead(&warned), len(warned.strict.edges)))
	row("false heat warnings of any kind /week", "<= 0.5", perWeek(warned.rate()))
	row("  of those, stood until the core passed 40 C, longer than 3 h", "", bare(float64(warned.foretold)/warned.cleanWeeks()))
	for i, g := range []rig{oneProbe, twoProbes} {
		n := rigNames[g]
		s := measure(chillRules(g)[0], p.records, chillsOf, nil)
		c := measure(chillRules(g)[2], p.records, chillsOf, nil)
		row("deep chill found, "+n, []string{">= 92 %", ">= 95 %"}[i], of(percent(wilson(s.deep.hit, s.deep.n))+fmt.Sprintf(" of %d, chance %.0f", s.deep.n, 100*s.chance(&s.deep)), s.deep.n))
		row("  with check-nest", "", of(percent(wilson(c.deep.hit, c.deep.n))+fmt.Sprintf(", chance %.0f", 100*c.chance(&c.deep)), c.deep.n))
		row("false chill alarms /week, "+n, []string{"<= 0.7", "<= 0.3"}[i], perWeek(s.rate()))
		row("  with check-nest", "", perWeek(c.rate()))
		row("  of those urgent, chill", "<= 0.1", perWeek(s.urgents()))
		row("  of those urgent, chill or check-nest", "<= 0.1", perWeek(c.urgents()))
		row("time a chill stands while nothing is wrong, "+n, "<= 3 %", fmt.Sprintf("%.2f %%", 100*s.standingShare()))
	}
	row("kindling found within 12 h", ">= 95 %", of(percent(wilson(k.found, k.litters)), k.litters))
	row("kindling called before it", "<= 2 %", of(percent(wilson(k.premature, k.litters)), k.litters))
	row("empty boxes called", "0", fmt.Sprintf("%d of %d", k.called, k.empties))
	row("visits, precision", ">= 80 %", percent(v.precision()))
	row("visits, recall", ">= 75 %", percent(v.recall()))
	p.table("Goals", "Strict window; false alarms per nest-week with nothing wrong.", []string{"figure", "goal", "reached [95 %]"}, rows)
}

// fewDangers is how many a figure must rest on to be held against its goal; ours: of 19, one more or less moves it by five parts in a hundred.
const fewDangers = 20

// fewNote marks a figure that rests on too little.
func fewNote(dangers int) string {
	if dangers < fewDangers {
		return ", too few to compare"
	}
	return ""
}

// lead tells alarms that began in their window apart from those that stood already.
func lead(s *score) string {
	return fmt.Sprintf("%s of %d that began within 3 h, %d stood longer", whole(quantile(s.strict.edges, 0.5)), len(s.strict.edges), s.strict.stood)
}
