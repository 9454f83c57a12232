package brood

import "fmt"

// Overrides are a configuration's own limits. A row replaces only the limits it writes, for the ages it covers; delays
// and everything else stay as shipped.
type Overrides struct {
	NestAir []AirRow     `yaml:"nest_air"`
	Cluster []ClusterRow `yaml:"cluster"`
}

// AirRow overrides nest-air limits, °C, from one age to another in days, both inclusive.
type AirRow struct {
	From         *int     `yaml:"from"`
	To           *int     `yaml:"to"`
	ColdWarn     *float64 `yaml:"cold_warn"`
	ColdCritical *float64 `yaml:"cold_critical"`
	HeatWarn     *float64 `yaml:"heat_warn"`
	HeatCritical *float64 `yaml:"heat_critical"`
}

// ClusterRow overrides cluster limits, °C, from one age to another in days, both inclusive.
type ClusterRow struct {
	From          *int     `yaml:"from"`
	To            *int     `yaml:"to"`
	ChillWarn     *float64 `yaml:"chill_warn"`
	ChillCritical *float64 `yaml:"chill_critical"`
	HeatWarn      *float64 `yaml:"heat_warn"`
	HeatCritical  *float64 `yaml:"heat_critical"`
}

// A limit outside these, °C, is a slip of the pen (ours, no source).
const (
	lowestLimit  = -40.0
	highestLimit = 60.0
)

// override is a row of either list.
type override struct {
	path     string // nest_air[0]
	whose    string // what its source begins with
	keys     [4]string
	from, to *int
	values   [4]*float64 // cold, cold critical, heat, heat critical
}

func (o Overrides) air() []override {
	var out []override
	for i, r := range o.NestAir {
		path := fmt.Sprintf("%s[%d]", NestAir, i)
		out = append(out, override{
			path, "configuration, " + path, NestAir.Keys(), r.From, r.To,
			[4]*float64{r.ColdWarn, r.ColdCritical, r.HeatWarn, r.HeatCritical},
		})
	}
	return out
}

func (o Overrides) cluster() []override {
	var out []override
	for i, r := range o.Cluster {
		path := fmt.Sprintf("%s[%d]", Cluster, i)
		out = append(out, override{
			path, "configuration, " + path, Cluster.Keys(), r.From, r.To,
			[4]*float64{r.ChillWarn, r.ChillCritical, r.HeatWarn, r.HeatCritical},
		})
	}
	return out
}

// Tables gives the limits as shipped with these laid over them. Call it only when Validate reported nothing.
func (o Overrides) Tables() Tables {
	t := DefaultTables()
	for _, ov := range o.air() {
		t.air = ov.over(t.air)
	}
	for _, ov := range o.cluster() {
		t.cluster = ov.over(t.cluster)
	}
	return t
}

// Path is the key that sets a limit on that day, such as nest_air[0].heat_warn; empty where none does.
func (o Overrides) Path(p Place, key string, day int) string {
	rows := o.air()
	if p == Cluster {
		rows = o.cluster()
	}
	for _, r := range rows {
		for i, have := range r.keys {
			if have == key && r.values[i] != nil && *r.from <= day && day <= *r.to {
				return r.path + "." + key
			}
		}
	}
	return ""
}

// over lays the override over a table: the rows it covers in part are cut where it begins and ends.
func (o override) over(table []row) []row {
	from, to := *o.from, *o.to
	var out []row
	for _, r := range table {
		if r.to < from || r.from > to {
			out = append(out, r)
			continue
		}
		if r.from < from {
			before := r
			before.to = from - 1
			out = append(out, before)
		}
		within := r
		within.from, within.to = max(r.from, from), min(r.to, to)
		for i, l := range within.limits() {
			if o.values[i] != nil {
				l.C, l.Source = *o.values[i], fmt.Sprintf("%s, days %d-%d", o.whose, from, to)
			}
		}
		out = append(out, within)
		if r.to > to {
			after := r
			after.from = to + 1
			out = append(out, after)
		}
	}
	return out
}

// limits lists a row's limits in the order of an override's values.
func (r *row) limits() [4]*Limit {
	return [4]*Limit{&r.cold, &r.coldCritical, &r.heat, &r.heatCritical}
}
