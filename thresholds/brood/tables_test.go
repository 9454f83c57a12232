package brood_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/brood"
)

// The CSV tables are our defaults as decided, written apart from the code.
func TestDefaultsEqualTheClusterTable(t *testing.T) {
	tables := brood.DefaultTables()
	for _, r := range load(t, "limits_cluster.csv", 5) {
		for age := int(r.num(t, "age_from_d")); age <= int(r.num(t, "age_to_d")); age++ {
			for _, s := range brood.Seasons {
				got, ok := tables.Cluster(age, s)
				if !ok {
					t.Fatalf("no cluster limits at day %d", age)
				}
				critical := "chill_crit_dwell_min"
				if s == brood.Winter {
					critical = "chill_crit_dwell_winter_min"
				}
				at := "day " + strconv.Itoa(age) + " " + string(s)
				same(t, at+" chill warning", got.ChillWarn, r, "chill_warn_below_c", "chill_warn_dwell_min")
				same(t, at+" chill critical", got.ChillCritical, r, "chill_crit_below_c", critical)
				same(t, at+" heat warning", got.HeatWarn, r, "heat_warn_above_c", "heat_warn_dwell_min")
				same(t, at+" heat critical", got.HeatCritical, r, "heat_crit_above_c", "heat_crit_dwell_min")
				if info := r["chill_warn_level"] == "info"; got.ChillWarn.Notice != info || got.ChillCritical.Notice {
					t.Errorf("%s: notice %v and %v, want %v and false", at, got.ChillWarn.Notice, got.ChillCritical.Notice, info)
				}
			}
		}
	}
}

func TestDefaultsEqualTheNestAirTable(t *testing.T) {
	tables := brood.DefaultTables()
	for _, r := range load(t, "limits_nest_air.csv", 5) {
		for age := int(r.num(t, "age_from_d")); age <= int(r.num(t, "age_to_d")); age++ {
			for _, s := range brood.Seasons {
				got := tables.Air(age, s)
				at := "day " + strconv.Itoa(age) + " " + string(s)
				same(t, at+" cold warning", got.ColdWarn, r, "cold_warn_below_c", "")
				same(t, at+" cold critical", got.ColdCritical, r, "cold_crit_below_c", "")
				same(t, at+" heat warning", got.HeatWarn, r, "heat_warn_above_c", "")
				same(t, at+" heat critical", got.HeatCritical, r, "heat_crit_above_c", "")
				if got.HeatWarn.Delay != 20*time.Minute || got.HeatCritical.Delay != 10*time.Minute {
					t.Errorf("%s: heat delays %v and %v", at, got.HeatWarn.Delay, got.HeatCritical.Delay)
				}
				if c, ok := tables.Cluster(age, s); ok &&
					(c.ChillWarn.Delay != got.ColdWarn.Delay || c.ChillCritical.Delay != got.ColdCritical.Delay) {
					t.Errorf("%s: cold delays differ from the cluster's chill", at)
				}
			}
		}
	}
}

func TestAgesAtTheEnds(t *testing.T) {
	tables := brood.DefaultTables()
	for _, age := range []int{-1, 29, 99} {
		if _, ok := tables.Cluster(age, brood.Mild); ok {
			t.Errorf("cluster limits at day %d", age)
		}
	}
	if tables.Air(-1, brood.Summer) != tables.Air(0, brood.Summer) {
		t.Error("an unknown age is not judged as newborn")
	}
	if tables.Air(400, brood.Summer) != tables.Air(99, brood.Summer) {
		t.Error("an age beyond the table is not judged by its last row")
	}
}

func TestLookupDoesNotAllocate(t *testing.T) {
	tables := brood.DefaultTables()
	if n := testing.AllocsPerRun(100, func() {
		_, _ = tables.Cluster(12, brood.Winter)
		_ = tables.Air(-1, brood.Winter)
		_ = brood.KitMass(12)
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func same(t *testing.T, what string, got brood.Limit, r record, value, minutes string) {
	t.Helper()
	if got.C != r.num(t, value) {
		t.Errorf("%s: %v °C, want %v", what, got.C, r[value])
	}
	if minutes != "" && got.Delay.Minutes() != r.num(t, minutes) {
		t.Errorf("%s: delay %v, want %v min", what, got.Delay, r[minutes])
	}
	if got.Delay <= 0 || !strings.Contains(got.Source, "table, days ") || !strings.Contains(got.Source, "judgement: ") {
		t.Errorf("%s: delay %v and source %q", what, got.Delay, got.Source)
	}
}

// record is one row of a table under testdata, by column name.
type record map[string]string

func (r record) num(t *testing.T, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		t.Fatalf("column %s: %v", column, err)
	}
	return v
}

func load(t *testing.T, file string, rows int) []record {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", file))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []record
	for _, line := range lines[1:] {
		r := record{}
		for i, name := range lines[0] {
			r[name] = line[i]
		}
		out = append(out, r)
	}
	if len(out) != rows {
		t.Fatalf("%s has %d rows, want %d", file, len(out), rows)
	}
	return out
}
