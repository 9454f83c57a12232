package brood

import "fmt"

// Validate reports every limit that cannot be meant, with the path of its key.
func (o Overrides) Validate(report func(path, problem string)) {
	t := DefaultTables()
	validate(o.air(), t.air, LastDay, report)
	validate(o.cluster(), t.cluster, LastClusterDay, report)
}

// validate judges the rows of one list, each by itself and then laid over the shipped table.
func validate(overrides []override, table []row, lastDay int, report func(path, problem string)) {
	for i, o := range overrides {
		if !o.wellFormed(lastDay, report) {
			continue
		}
		if j, ok := o.overlaps(overrides[:i]); ok {
			report(o.path, fmt.Sprintf("covers days that %s covers too; write each day in one row only", overrides[j].path))
			continue
		}
		for _, r := range o.over(table) {
			if *o.from <= r.from && r.to <= *o.to && !o.ordered(r, report) {
				break
			}
		}
	}
}

// wellFormed judges ages and numbers.
func (o override) wellFormed(lastDay int, report func(path, problem string)) bool {
	if o.from == nil || o.to == nil {
		report(o.path, "lacks its ages; write from and to in whole days, both inclusive")
		return false
	}
	if *o.from < 0 || *o.to > lastDay || *o.from > *o.to {
		report(o.path, fmt.Sprintf("days %d to %d are not ages here; write from 0 up to %d, from not above to", *o.from, *o.to, lastDay))
		return false
	}
	fine, some := true, false
	for i, v := range o.values {
		if v == nil {
			continue
		}
		some = true
		if !(*v >= lowestLimit && *v <= highestLimit) {
			report(o.path+"."+o.keys[i], fmt.Sprintf("%g °C is outside %g to %g °C; write degrees Celsius", *v, lowestLimit, highestLimit))
			fine = false
		}
	}
	if !some {
		report(o.path, fmt.Sprintf("changes nothing; write one of: %s, %s, %s, %s", o.keys[0], o.keys[1], o.keys[2], o.keys[3]))
	}
	return fine && some
}

// overlaps finds an earlier row with a day in common.
func (o override) overlaps(earlier []override) (int, bool) {
	for j, e := range earlier {
		if e.from != nil && e.to != nil && *o.from <= *e.to && *e.from <= *o.to {
			return j, true
		}
	}
	return 0, false
}

// ordered judges whether the four limits of a row, written or shipped, stand in the only order that makes sense.
func (o override) ordered(r row, report func(path, problem string)) bool {
	l := r.limits()
	fine := true
	for _, pair := range [...]struct {
		low, high int // places in limits
	}{{1, 0}, {0, 2}, {2, 3}} {
		low, high := l[pair.low].C, l[pair.high].C
		if low < high || o.values[pair.low] == nil && o.values[pair.high] == nil {
			continue // what this row does not write is told of elsewhere
		}
		fine = false
		key := pair.low
		if o.values[key] == nil {
			key = pair.high
		}
		report(o.path+"."+o.keys[key], fmt.Sprintf("%s %g °C is not below %s %g °C at days %d-%d; write %s < %s < %s < %s",
			o.keys[pair.low], low, o.keys[pair.high], high, r.from, r.to, o.keys[1], o.keys[0], o.keys[2], o.keys[3]))
	}
	return fine
}
