package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"nestmon/thresholds/alarm"
)

// report is the litters of one world, and what every heading says of them.
type report struct {
	w       io.Writer
	world   string
	first   uint64
	commit  string
	records []*record
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
	tw.Flush()
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

var sensitivityColumns = []string{"rule", "all n", "all % [95 %]", "chance", "ref.", "deep n", "deep % [95 %]", "chance", "ref.", "before onset %", "of hits standing %", "lead min p10/50/90"}

func sensitivityRow(s *score) []string {
	return []string{
		s.name, fmt.Sprint(s.strict.n), percent(wilson(s.strict.hit, s.strict.n)), fmt.Sprintf("%.0f", 100*s.chance(&s.strict)), short(s.wide.hit, s.wide.n),
		fmt.Sprint(s.deep.n), percent(wilson(s.deep.hit, s.deep.n)), fmt.Sprintf("%.0f", 100*s.chance(&s.deep)), short(s.deepWide.hit, s.deepWide.n),
		short(s.strict.before, s.strict.n), short(s.strict.stood, s.strict.hit), leads(s.strict.leads),
	}
}

func short(n, all int) string {
	if all == 0 {
		return "-"
	}
	return fmt.Sprintf("%.0f", 100*float64(n)/float64(all))
}

func leads(l []float64) string {
	if len(l) == 0 {
		return "-"
	}
	return fmt.Sprintf("%.0f/%.0f/%.0f", quantile(l, 0.1), quantile(l, 0.5), quantile(l, 0.9))
}

var falseColumns = []string{"rule", "urgent", "warning", "notice", "false /week [95 %]", "urgent [95 %]", "before birth, count", "stands while well %"}

func falseRow(s *score) []string {
	wk := s.cleanWeeks()
	per := func(n int) string { return fmt.Sprintf("%.2f", float64(n)/wk) }
	early := 0
	for _, n := range s.early {
		early += n
	}
	return []string{
		s.name, per(s.false[alarm.Urgent]), per(s.false[alarm.Warning]), per(s.false[alarm.Notice]), perWeek(s.rate()), perWeek(s.urgents()),
		fmt.Sprint(early), fmt.Sprintf("%.2f", 100*s.standingShare()),
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
	var sens, false [][]string
	for i := range scores {
		sens, false = append(sens, sensitivityRow(&scores[i])), append(false, falseRow(&scores[i]))
	}
	p.table(what+": what was found", strictNote, sensitivityColumns, sens)
	p.table(what+": false alarms", falseNote(&scores[0]), falseColumns, false)
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

// split is one way to part litters.
type split struct {
	name string
	of   func(*record) string
}

var splits = []split{
	{"season", func(r *record) string { return r.season }},
	{"nest", func(r *record) string { return r.makeup }},
	{"instruments", func(r *record) string {
		if f := r.instrument(true); f != "" {
			return f
		}
		return "sound"
	}},
	{"scenario", func(r *record) string {
		if r.scenario == "" {
			return "none"
		}
		return r.scenario
	}},
}

func (p *report) split(title string, rules []rule, which func(*record) []danger) {
	columns := []string{"split", "litters", "events"}
	for _, rl := range rules {
		columns = append(columns, rl.name+": % / false")
	}
	var rows [][]string
	for _, sp := range splits {
		groups := map[string][]*record{}
		for _, r := range p.records {
			groups[sp.of(r)] = append(groups[sp.of(r)], r)
		}
		for _, name := range sortedKeys(groups) {
			row := []string{sp.name + " " + name, fmt.Sprint(len(groups[name])), ""}
			for _, rl := range rules {
				s := measure(rl, groups[name], which, nil)
				row[2] = fmt.Sprint(s.strict.n)
				row = append(row, fmt.Sprintf("%s / %.2f", short(s.strict.hit, s.strict.n), s.rate().value))
			}
			rows = append(rows, row)
		}
	}
	for _, cause := range p.causes(which) {
		row := []string{"cause " + cause, "", ""}
		for _, rl := range rules {
			s := measure(rl, p.records, which, func(d danger) bool { return d.cause == cause })
			row[2] = fmt.Sprint(s.strict.n)
			row = append(row, fmt.Sprintf("%s, lead %.0f", short(s.strict.hit, s.strict.n), quantile(s.strict.leads, 0.5)))
		}
		rows = append(rows, row)
	}
	p.table(title, "Sensitivity in the strict window, %, and false alarms per clean nest-week; by cause the median lead, min.", columns, rows)
}

func (p *report) causes(which func(*record) []danger) []string {
	seen := map[string]bool{}
	for _, r := range p.records {
		for _, d := range which(r) {
			seen[d.cause] = true
		}
	}
	return sortedKeys(seen)
}

func sortedKeys[V any](m map[string]V) []string {
	var all []string
	for k := range m {
		all = append(all, k)
	}
	slices.Sort(all)
	return all
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
	any := func(r *record) []danger { return append(slices.Clone(r.chills), r.hots...) }
	var rows [][]string
	row := func(name string, names ...alarm.Name) {
		cells, some := []string{name}, false
		for _, g := range []rig{oneProbe, twoProbes} {
			s := measure(said(name, g, alarm.Notice, names...), p.records, any, nil)
			for _, level := range []alarm.Severity{alarm.Urgent, alarm.Warning, alarm.Notice} {
				cells = append(cells, fmt.Sprintf("%.2f", float64(s.false[level])/s.cleanWeeks()))
				some = some || s.false[level] > 0
			}
			cells = append(cells, fmt.Sprintf("%.1f", 100*s.standingShare()))
		}
		if some {
			rows = append(rows, cells)
		}
	}
	var all []alarm.Name
	for _, name := range alarm.Names {
		if !name.Chore() {
			row(string(name), name)
			all = append(all, name)
		}
	}
	row("any of these", all...)
	p.table("Every alarm while nothing is wrong with the kits", "Per clean nest-week after birth, by the worst severity of the episode; neither chill nor heat nor a scenario is on. Instrument faults are not excused.", columns, rows)
}

func (p *report) kindling() kindlings {
	columns := []string{"rule", "kindled", "found in 12 h % [95 %]", "premature % [95 %]", "late", "delay min p50/p90", "empty boxes called"}
	var rows [][]string
	var one kindlings
	for _, c := range []struct {
		name string
		of   func(*record) time.Time
	}{
		{"fixed probe > 30 C, 10 min", func(r *record) time.Time { return r.plain.kindled }},
		{rigNames[oneProbe], func(r *record) time.Time { return r.judged[oneProbe].kindled() }},
		{rigNames[twoProbes], func(r *record) time.Time { return r.judged[twoProbes].kindled() }},
	} {
		k := scoreKindling(p.records, c.of)
		if c.name == rigNames[oneProbe] {
			one = k
		}
		rows = append(rows, []string{
			c.name, fmt.Sprint(k.litters), percent(wilson(k.found, k.litters)), percent(wilson(k.premature, k.litters)), fmt.Sprint(k.late),
			fmt.Sprintf("%.0f/%.0f", quantile(k.delays, 0.5), quantile(k.delays, 0.9)), fmt.Sprintf("%d of %d", k.called, k.empties),
		})
	}
	p.table("Kindling", "The first call counts. The keeper enters the birth 12 h after it where no call was made since.", columns, rows)
	return one
}

func (p *report) visits() visitScore {
	columns := []string{"rule", "litters", "nursings", "detections", "precision % [95 %]", "recall % [95 %]", "doe without nursing", "person", "nothing"}
	var rows [][]string
	row := func(name string, records []*record, of func(*record) []time.Time) visitScore {
		var v visitScore
		for _, r := range records {
			v.add(r, of(r))
		}
		rows = append(rows, []string{
			name, fmt.Sprint(len(records)), fmt.Sprint(v.nursings), fmt.Sprint(v.detections), percent(v.precision()), percent(v.recall()),
			fmt.Sprint(v.byDoe), fmt.Sprint(v.byPerson), fmt.Sprint(v.detections - v.right - v.byDoe - v.byPerson),
		})
		return v
	}
	seen := func(g rig) func(*record) []time.Time {
		return func(r *record) []time.Time { return r.judged[g].noted(alarm.Visit) }
	}
	row("fixed dip of 1 K in 10 min", p.records, func(r *record) []time.Time { return r.plain.visits })
	out := row(rigNames[oneProbe], p.records, seen(oneProbe))
	row(rigNames[twoProbes], p.records, seen(twoProbes))
	sound := slices.DeleteFunc(slices.Clone(p.records), func(r *record) bool { return r.instrument(true) != "" })
	row(rigNames[oneProbe]+", sound instruments", sound, seen(oneProbe))
	for _, sp := range splits[:2] {
		groups := map[string][]*record{}
		for _, r := range p.records {
			groups[sp.of(r)] = append(groups[sp.of(r)], r)
		}
		for _, name := range sortedKeys(groups) {
			row(rigNames[oneProbe]+", "+name, groups[name], seen(oneProbe))
		}
	}
	p.table("Visits", "A detection 25 min before to 50 min after a nursing, one each, from 14 h after birth, while the kits live.", columns, rows)

	var over [][]string
	overdue := func(name string, of func(*record) []time.Time) {
		o := scoreOverdue(p.records, of)
		over = append(over, []string{name, fmt.Sprintf("%d of %d", o.found, o.starving), fmt.Sprintf("%.0f", quantile(o.delays, 0.5)), perWeek(byLitter(o.falseBy, o.clean))})
	}
	for _, g := range []rig{oneProbe, twoProbes} {
		overdue(rigNames[g]+": visit-overdue", func(r *record) []time.Time { return raisedAt(r, g, alarm.VisitOverdue) })
		for _, limit := range []time.Duration{30 * time.Hour, 36 * time.Hour, 54 * time.Hour} {
			overdue(fmt.Sprintf("%s: none seen for %.0f h", rigNames[g], limit.Hours()), func(r *record) []time.Time { return gaps(r, seen(g)(r), limit) })
		}
	}
	p.table("Visit overdue", "Found from the doe's last coming to 12 h after she is back; delay h from the fault, median; false per week of all other time.", []string{"rule", "starving litters found", "delay h", "false /week [95 %]"}, over)
	return out
}

func raisedAt(r *record, g rig, name alarm.Name) []time.Time {
	var all []time.Time
	for _, s := range standing(r.judged[g].events, r.end, alarm.Notice, name) {
		all = append(all, s.from)
	}
	return all
}

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
		{"swapped: check-nest", oneProbe, named(alarm.CheckNest), broken("swapped"), sound},
	} {
		f := answers(p.records, c.g, c.raised, c.wrong, c.sound)
		rows = append(rows, []string{
			c.name, fmt.Sprint(f.litters), fmt.Sprint(f.in), fmt.Sprint(f.outside), fmt.Sprintf("%.1f", quantile(f.delays, 0.5)),
			fmt.Sprintf("%d of %d", f.fires, f.sound), percent(wilson(f.fires, f.sound)),
		})
	}
	p.table("Bedding, ventilation, probes", "Litters with the fault; fired inside its time, only outside it; the sound litters have no scenario and, for probes, no instrument fault. Bedding is due by the calendar alone and is not scored.",
		[]string{"answer", "litters", "inside", "only outside", "delay h p50", "sound litters fired", "% [95 %]"}, rows)
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
