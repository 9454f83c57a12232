package brood

import (
	"fmt"
	"time"
)

// Place is where a limit is measured, by its name in a configuration.
type Place string

// The places.
const (
	NestAir Place = "nest_air"
	Cluster Place = "cluster"
)

// Places lists them.
var Places = []Place{NestAir, Cluster}

// Keys names a place's limits: cold, cold critical, heat, heat critical.
func (p Place) Keys() [4]string {
	if p == Cluster {
		return [4]string{"chill_warn", "chill_critical", "heat_warn", "heat_critical"}
	}
	return [4]string{"cold_warn", "cold_critical", "heat_warn", "heat_critical"}
}

// lastDay is the last age in days for which a place has limits.
func (p Place) lastDay() int {
	if p == Cluster {
		return LastClusterDay
	}
	return LastDay
}

// Setting is one limit that somebody set while the daemon runs, over what shipped tables and configuration say.
type Setting struct {
	Place Place     `json:"place"`
	Key   string    `json:"key"`
	From  int       `json:"from"` // days, both inclusive
	To    int       `json:"to"`
	C     float64   `json:"limit_c"` // °C
	By    string    `json:"by"`
	At    time.Time `json:"at"`
}

// Settings are such limits. No two are of the same limit on the same day.
type Settings []Setting

// Without leaves out that limit for those days: what lies beneath counts again.
func (s Settings) Without(p Place, key string, from, to int) Settings {
	var out Settings
	for _, have := range s {
		if have.Place != p || have.Key != key || have.To < from || have.From > to {
			out = append(out, have)
			continue
		}
		if before := have; have.From < from {
			before.To = from - 1
			out = append(out, before)
		}
		if after := have; have.To > to {
			after.From = to + 1
			out = append(out, after)
		}
	}
	return out
}

// With puts a limit in, in place of what was set for its days before.
func (s Settings) With(one Setting) Settings {
	return append(s.Without(one.Place, one.Key, one.From, one.To), one)
}

// Of is the setting that counts on that day.
func (s Settings) Of(p Place, key string, day int) (Setting, bool) {
	for _, have := range s {
		if have.Place == p && have.Key == key && have.From <= day && day <= have.To {
			return have, true
		}
	}
	return Setting{}, false
}

// override is the setting as a row that writes one value.
func (s *Setting) override() override {
	o := override{
		path: string(s.Place), whose: fmt.Sprintf("set on the page by %s on %s", s.By, s.At.Format(time.DateOnly)),
		keys: s.Place.Keys(), from: &s.From, to: &s.To,
	}
	for i, key := range o.keys {
		if key == s.Key {
			o.values[i] = &s.C
		}
	}
	return o
}

// Over lays the settings over tables. Call it only when Validate reported nothing.
func (s Settings) Over(t Tables) Tables {
	for i := range s {
		if o := s[i].override(); s[i].Place == Cluster {
			t.cluster = o.over(t.cluster)
		} else {
			t.air = o.over(t.air)
		}
	}
	return t
}

// Validate reports every setting that cannot be meant over those tables, by its place in the list: by the rules of a configuration.
func (s Settings) Validate(t Tables, report func(i int, problem string)) {
	fine := true
	for i := range s {
		if s[i].Place != NestAir && s[i].Place != Cluster {
			report(i, fmt.Sprintf("there is no place %q; send one of: %s, %s", s[i].Place, NestAir, Cluster))
			fine = false
			continue
		}
		o := s[i].override()
		if !o.wellFormed(s[i].Place.lastDay(), func(_, problem string) { report(i, problem) }) {
			fine = false
		}
	}
	if !fine {
		return
	}
	t = s.Over(t)
	for i := range s {
		o := s[i].override()
		for _, r := range *t.of(s[i].Place) {
			said := false
			if s[i].From <= r.from && r.to <= s[i].To && !o.ordered(r, func(_, problem string) {
				if !said {
					said = true
					report(i, problem)
				}
			}) {
				break
			}
		}
	}
}

// Fitting parts the settings that can stand over those tables from those that cannot: the tables may have changed beneath them.
func (s Settings) Fitting(t Tables) (fit Settings, not map[int]string) {
	not = map[int]string{}
	for {
		var index []int
		fit = nil
		for i := range s {
			if _, out := not[i]; !out {
				fit, index = append(fit, s[i]), append(index, i)
			}
		}
		before := len(not)
		fit.Validate(t, func(i int, problem string) { not[index[i]] = problem })
		if len(not) == before {
			return fit, not
		}
	}
}

func (t *Tables) of(p Place) *[]row {
	if p == Cluster {
		return &t.cluster
	}
	return &t.air
}

// Row is the limits of one span of ages.
type Row struct {
	From, To int      // days, both inclusive
	Limits   [4]Limit // in the order of the place's keys
	Winter   Limit    // the second of them, in winter
}

// Rows lists a place's limits by age. Neighbours that say the same are one row.
func (t *Tables) Rows(p Place) (out []Row) {
	for _, r := range *t.of(p) {
		next := Row{r.from, r.to, [4]Limit{r.cold, r.coldCritical, r.heat, r.heatCritical}, r.critical(Winter)}
		if n := len(out) - 1; n >= 0 && out[n].Limits == next.Limits && out[n].Winter == next.Winter {
			out[n].To = next.To
			continue
		}
		out = append(out, next)
	}
	return out
}

// Laxer is a limit that would lie farther towards danger than it does now, and than it was shipped.
type Laxer struct {
	Place    Place
	Key      string
	From, To int     // days, both inclusive
	C        float64 // °C, what it would be
	Shipped  Limit
}

// LaxerThan lists what these tables would let pass that neither the tables in force nor the shipped ones do.
func (t *Tables) LaxerThan(now *Tables) (out []Laxer) {
	shipped := DefaultTables()
	for _, p := range Places {
		for i, key := range p.Keys() {
			for day := range p.lastDay() + 1 {
				next, s := *find(*t.of(p), day).limits()[i], *find(*shipped.of(p), day).limits()[i]
				allows := func(l Limit) bool {
					if heat := i >= 2; heat {
						return next.C > l.C
					}
					return next.C < l.C
				}
				if !allows(s) || !allows(*find(*now.of(p), day).limits()[i]) {
					continue
				}
				if n := len(out) - 1; n >= 0 {
					if l := &out[n]; l.Place == p && l.Key == key && l.To == day-1 && l.C == next.C && l.Shipped.C == s.C {
						l.To = day
						continue
					}
				}
				out = append(out, Laxer{p, key, day, day, next.C, s})
			}
		}
	}
	return out
}
