package brood_test

import (
	"math"
	"strings"
	"testing"

	"nestmon/thresholds/brood"
)

func TestOverridesReplaceOnlyWhatTheyWrite(t *testing.T) {
	o := brood.Overrides{
		NestAir: []brood.AirRow{{From: new(2), To: new(9), HeatWarn: new(27.5)}},
		Cluster: []brood.ClusterRow{{From: new(0), To: new(28), HeatCritical: new(39.8)}},
	}
	wantProblem(t, o, "", "")
	tables, shipped := o.Tables(), brood.DefaultTables()
	for age := -1; age <= 99; age++ {
		for _, s := range brood.Seasons {
			want := shipped.Air(age, s)
			if age >= 2 && age <= 9 {
				want.HeatWarn.C, want.HeatWarn.Source = 27.5, "configuration, nest_air[0], days 2-9"
			}
			if got := tables.Air(age, s); got != want {
				t.Errorf("day %d %s: nest air %+v, want %+v", age, s, got, want)
			}
			cluster, ok := shipped.Cluster(age, s)
			if ok {
				cluster.HeatCritical.C, cluster.HeatCritical.Source = 39.8, "configuration, cluster[0], days 0-28"
			}
			if got, stillOK := tables.Cluster(age, s); got != cluster || ok != stillOK {
				t.Errorf("day %d %s: cluster %+v, want %+v", age, s, got, cluster)
			}
		}
	}
}

func TestOverridesRefused(t *testing.T) {
	air := func(rows ...brood.AirRow) brood.Overrides { return brood.Overrides{NestAir: rows} }
	cluster := func(rows ...brood.ClusterRow) brood.Overrides { return brood.Overrides{Cluster: rows} }
	for _, c := range []struct {
		name       string
		o          brood.Overrides
		path, word string
	}{
		{"no ages", air(brood.AirRow{HeatWarn: new(29.0)}), "nest_air[0]", "lacks its ages"},
		{"no last age", air(brood.AirRow{From: new(0), HeatWarn: new(29.0)}), "nest_air[0]", "lacks its ages"},
		{"negative age", air(brood.AirRow{From: new(-1), To: new(3), HeatWarn: new(29.0)}), "nest_air[0]", "days -1 to 3"},
		{"too old", air(brood.AirRow{From: new(0), To: new(100), HeatWarn: new(27.0)}), "nest_air[0]", "from 0 up to 99"},
		{"ages turned round", air(brood.AirRow{From: new(5), To: new(3), HeatWarn: new(29.0)}), "nest_air[0]", "from not above to"},
		{"cluster limits end", cluster(brood.ClusterRow{From: new(0), To: new(29), HeatWarn: new(35.0)}), "cluster[0]", "from 0 up to 28"},
		{"nothing written", cluster(brood.ClusterRow{From: new(0), To: new(3)}), "cluster[0]", "chill_warn"},
		{"Fahrenheit", air(brood.AirRow{From: new(0), To: new(3), HeatWarn: new(86.0)}), "nest_air[0].heat_warn", "write degrees Celsius"},
		{"not a number", air(brood.AirRow{From: new(0), To: new(3), HeatWarn: new(math.NaN())}), "nest_air[0].heat_warn", "NaN"},
		{"too cold", air(brood.AirRow{From: new(0), To: new(3), ColdCritical: new(-41.0)}), "nest_air[0].cold_critical", "-41 °C"},
		{
			"warning above the shipped critical",
			air(brood.AirRow{From: new(0), To: new(3), HeatWarn: new(35.0)}),
			"nest_air[0].heat_warn", "heat_warn 35 °C is not below heat_critical 35 °C at days 0-3",
		},
		{
			"fine in the first row, wrong in the second",
			air(brood.AirRow{From: new(4), To: new(10), HeatWarn: new(34.5)}),
			"nest_air[0].heat_warn", "at days 8-10",
		},
		{
			"critical on the wrong side", cluster(brood.ClusterRow{From: new(0), To: new(3), ChillCritical: new(34.5)}),
			"cluster[0].chill_critical", "chill_critical 34.5 °C is not below chill_warn 34 °C",
		},
		{
			"cold above heat", air(brood.AirRow{From: new(0), To: new(3), ColdWarn: new(31.0)}),
			"nest_air[0].cold_warn", "cold_warn 31 °C is not below heat_warn 30 °C",
		},
		{
			"the same day twice",
			air(brood.AirRow{From: new(0), To: new(3), HeatWarn: new(29.0)}, brood.AirRow{From: new(3), To: new(5), HeatWarn: new(28.0)}),
			"nest_air[1]", "nest_air[0] covers too",
		},
	} {
		t.Run(c.name, func(t *testing.T) { wantProblem(t, c.o, c.path, c.word) })
	}
}

func wantProblem(t *testing.T, o brood.Overrides, path, word string) {
	t.Helper()
	var found []string
	o.Validate(func(p, problem string) {
		found = append(found, p+": "+problem)
		if p != path || !strings.Contains(problem, word) {
			t.Errorf("%s: %s; want %s: …%s…", p, problem, path, word)
		}
	})
	if want := min(len(path), 1); len(found) != want {
		t.Errorf("%d problems %q, want %d", len(found), found, want)
	}
}
