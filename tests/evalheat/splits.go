package main

import (
	"fmt"
	"slices"
)

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
				row = append(row, short(s.strict.hit, s.strict.n)+" / "+bare(s.rate().value))
			}
			rows = append(rows, row)
		}
	}
	for _, cause := range p.causes(which) {
		row := []string{"cause " + cause, "", ""}
		for _, rl := range rules {
			s := measure(rl, p.records, which, func(d danger) bool { return d.cause == cause })
			row[2] = fmt.Sprint(s.strict.n)
			row = append(row, fmt.Sprintf("%s, lead %s", short(s.strict.hit, s.strict.n), whole(quantile(s.strict.leads, 0.5))))
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
