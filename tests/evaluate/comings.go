package main

import (
	"fmt"
	"slices"
	"time"

	"nestmon/thresholds/alarm"
)

func (p *report) kindling() kindlings {
	columns := []string{"rule", "kindled", "found in 12 h % [95 %]", "premature % [95 %]", "late", "delay min p50/p90", "empty boxes called"}
	var rows [][]string
	var first kindlings
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
			first = k
		}
		rows = append(rows, []string{
			c.name, fmt.Sprint(k.litters), percent(wilson(k.found, k.litters)), percent(wilson(k.premature, k.litters)), fmt.Sprint(k.late),
			whole(quantile(k.delays, 0.5)) + "/" + whole(quantile(k.delays, 0.9)), fmt.Sprintf("%d of %d", k.called, k.empties),
		})
	}
	p.table("Kindling", "The first call counts. The keeper enters the birth 12 h after it where no call was made since.", columns, rows)
	return first
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
		over = append(over, []string{name, fmt.Sprintf("%d of %d", o.found, o.starving), fmt.Sprint(o.small), whole(quantile(o.delays, 0.5)), perWeek(byLitter(o.falseBy, o.clean))})
	}
	for _, g := range []rig{oneProbe, twoProbes} {
		overdue(rigNames[g]+": visit-overdue", func(r *record) []time.Time { return raisedAt(r, g, alarm.VisitOverdue) })
		for _, limit := range []time.Duration{30 * time.Hour, 36 * time.Hour, 54 * time.Hour} {
			overdue(fmt.Sprintf("%s: none seen for %.0f h", rigNames[g], limit.Hours()), func(r *record) []time.Time { return gaps(r, seen(g)(r), limit) })
		}
	}
	p.table("Visit overdue", "Found from the doe's last coming to 12 h after she is back; delay h from the fault, median; false per week of all other time.", []string{"rule", "starving litters found", "of five or fewer, not watched", "delay h", "false /week [95 %]"}, over)
	return out
}

func raisedAt(r *record, g rig, name alarm.Name) []time.Time {
	var all []time.Time
	for _, s := range standing(r.judged[g].events, r.end, alarm.Notice, name) {
		all = append(all, s.from)
	}
	return all
}
