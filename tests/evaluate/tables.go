package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"nestmon/thresholds/alarm"
)

// report is the litters of one world, and what every heading says of them.
type report struct {
	w       io.Writer
	world   string
	first   uint64
	commit  string
	records []*record
	err     error // the first that writing a table met
}

// table prints rows of cells under a heading that says that all of it is simulated.
func (p *report) table(title, note string, columns []string, rows [][]string) {
	weeksAll, last := 0.0, p.first+uint64(len(p.records))-1
	for _, r := range p.records {
		if !r.born.IsZero() {
			weeksAll += weeks(r.end.Sub(r.born))
		}
	}
	fmt.Fprintf(p.w, "\n== %s\n   SIMULATED, %s world, seeds %d-%d, %d litters, %.0f nest-weeks after birth%s\n", title, p.world, p.first, last, len(p.records), weeksAll, p.commit)
	if note != "" {
		fmt.Fprintf(p.w, "   %s\n", note)
	}
	tw := tabwriter.NewWriter(p.w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, strings.Join(columns, "\t"))
	for _, row := range rows {
		fmt.Fprintln(tw, strings.Join(row, "\t"))
	}
	if err := tw.Flush(); err != nil && p.err == nil {
		p.err = err
	}
}

// blind is the share of looks after birth at which chill was not judged.
func blind(records []*record, g rig) string {
	looks, seen := 0, 0
	for _, r := range records {
		looks += r.judged[g].looks
		seen += r.judged[g].seen
	}
	if looks == 0 {
		return "-"
	}
	return fmt.Sprintf("%.1f", 100*(1-float64(seen)/float64(looks)))
}

var sensitivityColumns = []string{"rule", "all n", "all % [95 %]", "chance", "ref.", "deep n", "deep % [95 %]", "chance", "ref.", "before onset %", "of hits standing %", "lead min p10/50/90", "of edges p50"}

func sensitivityRow(s *score) []string {
	return []string{
		s.name, fmt.Sprint(s.strict.n), percent(wilson(s.strict.hit, s.strict.n)), fmt.Sprintf("%.0f", 100*s.chance(&s.strict)), short(s.wide.hit, s.wide.n),
		fmt.Sprint(s.deep.n), percent(wilson(s.deep.hit, s.deep.n)), fmt.Sprintf("%.0f", 100*s.chance(&s.deep)), short(s.deepWide.hit, s.deepWide.n),
		short(s.strict.before, s.strict.n), short(s.strict.stood, s.strict.hit), leads(s.strict.leads), whole(quantile(s.strict.edges, 0.5)),
	}
}

const strictNote = "Strict window: from fault or onset - 3 h, the later, to onset + 3 h at most; ref. is the wide window. Chance: what an alarm as frequent and as long, but blind, would hit."

// falseNote says what a false alarm is divided by.
func falseNote(s *score) string {
	return fmt.Sprintf("Edges in no danger (-3 h to +1 h) and no scenario (+1 h), by worst severity, per week of the %.0f nest-weeks with nothing wrong; intervals by litter. Instrument faults excuse nothing.", s.cleanWeeks())
}

func (p *report) scores(rules []rule, which func(*record) []danger) []score {
	out := make([]score, len(rules))
	for i, rl := range rules {
		out[i] = measure(rl, p.records, which, nil)
	}
	return out
}

func (p *report) pair(what string, scores []score) {
	var found, wrong [][]string
	for i := range scores {
		found, wrong = append(found, sensitivityRow(&scores[i])), append(wrong, falseRow(&scores[i]))
	}
	p.table(what+": what was found", strictNote, sensitivityColumns, found)
	p.table(what+": false alarms", falseNote(&scores[0]), falseColumns, wrong)
}

func (p *report) chill() []score {
	var rules []rule
	for _, f := range fixedChill {
		rules = append(rules, plainly(f.name))
	}
	rules = append(append(rules, chillRules(oneProbe)...), chillRules(twoProbes)...)
	scores := p.scores(rules, chillsOf)
	p.pair("Chill", scores)
	fmt.Fprintf(p.w, "   chill not judged after birth: one probe %s %%, two probes %s %%\n", blind(p.records, oneProbe), blind(p.records, twoProbes))
	return scores
}

func (p *report) heat() []score {
	var rules []rule
	for _, f := range fixedHeat {
		rules = append(rules, plainly(f.name))
	}
	for g := range numRigs {
		rules = append(rules, heatRules(g)...)
	}
	scores := p.scores(rules, hotsOf)
	p.pair("Heat", scores)
	return scores
}

// burden counts every alarm of a nest while nothing at all is wrong, chores apart.
func (p *report) burden() {
	columns := []string{"alarm"}
	for _, g := range []rig{oneProbe, twoProbes} {
		columns = append(columns, rigNames[g]+": urgent", "warning", "notice", "stands %")
	}
	dangers := func(r *record) []danger { return append(slices.Clone(r.chills), r.hots...) }
	var rows [][]string
	row := func(name string, names ...alarm.Name) {
		cells, some := []string{name}, false
		for _, g := range []rig{oneProbe, twoProbes} {
			s := measure(said(name, g, alarm.Notice, names...), p.records, dangers, nil)
			for _, level := range []alarm.Severity{alarm.Urgent, alarm.Warning, alarm.Notice} {
				cells = append(cells, fmt.Sprintf("%.2f", float64(s.wrong[level])/s.cleanWeeks()))
				some = some || s.wrong[level] > 0
			}
			cells = append(cells, fmt.Sprintf("%.1f", 100*s.standingShare()))
		}
		if some {
			rows = append(rows, cells)
		}
	}
	var all []alarm.Name
	for _, name := range alarm.Names {
		if name.Chore() {
			continue
		}
		row(string(name), name)
		if placeOf(name) == nestID {
			all = append(all, name)
		}
	}
	row("any of these", all...)
	p.table("Every alarm while nothing is wrong with the kits", "Per clean nest-week after birth, by the worst severity of the episode; neither chill nor heat nor a scenario is on. Instrument faults are not excused. What the weather does to the does is in no sum.", columns, rows)
	p.doeHeat()
}

// doeHeat is what the does' heat costs a keeper, by season. It is one alarm for all nests.
func (p *report) doeHeat() {
	groups := map[string][]*record{}
	for _, r := range p.records {
		groups[r.season] = append(groups[r.season], r)
	}
	var rows [][]string
	for _, season := range sortedKeys(groups) {
		s := measure(said("", oneProbe, alarm.Notice, alarm.DoeHeat), groups[season], func(*record) []danger { return nil }, nil)
		u := measure(said("", oneProbe, alarm.Urgent, alarm.DoeHeat), groups[season], func(*record) []danger { return nil }, nil)
		per := func(n int) string { return bare(float64(n) / s.cleanWeeks()) }
		rows = append(rows, []string{season, per(s.wrong[alarm.Urgent]), per(s.wrong[alarm.Warning]), fmt.Sprintf("%.1f", 100*s.standingShare()), fmt.Sprintf("%.1f", 100*u.standingShare())})
	}
	p.table("The doe's heat", "Per week outside a scenario, by the worst severity of the episode: what it costs, not whether it is right, for no doe is simulated that suffers. One that turned urgent counts as standing urgent to its end.", []string{"season", "urgent /week", "warning /week", "stands %", "urgent stands %"}, rows)
}

var falseColumns = []string{"rule", "urgent", "warning", "notice", "false /week [95 %]", "urgent [95 %]", "before birth, count", "stands while well %"}

func falseRow(s *score) []string {
	wk := s.cleanWeeks()
	per := func(n int) string { return bare(float64(n) / wk) }
	early := 0
	for _, n := range s.early {
		early += n
	}
	return []string{
		s.name, per(s.wrong[alarm.Urgent]), per(s.wrong[alarm.Warning]), per(s.wrong[alarm.Notice]), perWeek(s.rate()), perWeek(s.urgents()),
		fmt.Sprint(early), fmt.Sprintf("%.2f", 100*s.standingShare()),
	}
}
