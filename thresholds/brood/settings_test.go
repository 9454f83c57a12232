package brood_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/brood"
)

func set(p brood.Place, key string, from, to int, c float64) brood.Setting {
	return brood.Setting{Place: p, Key: key, From: from, To: to, C: c, By: "anna", At: time.Date(2031, 3, 4, 5, 6, 0, 0, time.UTC)}
}

// What is set lies over the configuration, day by day, and what is taken back shows the configuration again.
func TestSettingsLieOver(t *testing.T) {
	file := brood.Overrides{NestAir: []brood.AirRow{{From: new(2), To: new(9), HeatWarn: new(28.5)}}}
	all := brood.Settings{}.With(set(brood.NestAir, "heat_warn", 0, 13, 27)).With(set(brood.NestAir, "heat_warn", 4, 5, 26)).With(set(brood.Cluster, "chill_warn", 0, 3, 33))
	all = all.Without(brood.NestAir, "heat_warn", 8, 9)
	all.Validate(file.Tables(), func(i int, problem string) { t.Errorf("%d: %s", i, problem) })
	tables := all.Over(file.Tables())
	for day, c := range map[int]float64{0: 27, 3: 27, 4: 26, 5: 26, 6: 27, 7: 27, 8: 28.5, 9: 28.5, 10: 27, 13: 27, 14: 28} {
		l := tables.Air(day, brood.Mild).HeatWarn
		if l.C != c {
			t.Errorf("day %d: %v °C, want %v", day, l.C, c)
		}
		if _, here := all.Of(brood.NestAir, "heat_warn", day); here != strings.HasPrefix(l.Source, "set on the page by anna on 2031-03-04, days ") {
			t.Errorf("day %d: %q", day, l.Source)
		}
		if l.Delay != 20*time.Minute {
			t.Errorf("day %d: a delay of %v", day, l.Delay)
		}
	}
	if c, _ := tables.Cluster(2, brood.Mild); c.ChillWarn.C != 33 || c.ChillCritical.C != 30 {
		t.Errorf("the pile's: %+v", c)
	}
	var begins []int
	for _, r := range tables.Rows(brood.NestAir) {
		begins = append(begins, r.From)
	}
	if !slices.Equal(begins, []int{0, 4, 6, 8, 10, 14, 21}) {
		t.Errorf("rows begin at days %v", begins)
	}
}

func TestSettingsRefused(t *testing.T) {
	for name, c := range map[string]struct {
		set  brood.Setting
		want string
	}{
		"another place":   {set("attic", "heat_warn", 0, 3, 20), "send one of: nest_air, cluster"},
		"another key":     {set(brood.NestAir, "chill_warn", 0, 3, 20), "cold_warn"},
		"Fahrenheit":      {set(brood.NestAir, "heat_warn", 0, 3, 86), "write degrees Celsius"},
		"too old":         {set(brood.Cluster, "heat_warn", 20, 29, 36), "up to 28"},
		"above critical":  {set(brood.NestAir, "heat_warn", 0, 3, 35), "heat_warn 35 °C is not below heat_critical 35 °C"},
		"cold above heat": {set(brood.NestAir, "cold_warn", 0, 99, 29), "days 8-13"},
	} {
		t.Run(name, func(t *testing.T) {
			said := ""
			brood.Settings{c.set}.Validate(brood.DefaultTables(), func(_ int, problem string) { said += problem })
			if !strings.Contains(said, c.want) {
				t.Errorf("%q, want %q", said, c.want)
			}
		})
	}
}

// A configuration that changed beneath may leave no room for what was set: only that is put aside.
func TestSettingsThatFitNoMore(t *testing.T) {
	all := brood.Settings{set(brood.NestAir, "heat_warn", 0, 3, 33), set(brood.NestAir, "cold_warn", 0, 3, 14)}
	file := brood.Overrides{NestAir: []brood.AirRow{{From: new(0), To: new(3), HeatCritical: new(32.0)}}}
	fit, not := all.Fitting(file.Tables())
	if len(fit) != 1 || fit[0].Key != "cold_warn" || len(not) != 1 || !strings.Contains(not[0], "heat_warn 33 °C is not below heat_critical 32 °C") {
		t.Errorf("%v, %v", fit, not)
	}
}

// Towards danger is a heat limit that rises and a cold limit that falls, beyond what was shipped and what is in force.
func TestLaxer(t *testing.T) {
	shipped := brood.DefaultTables()
	over := func(s ...brood.Setting) *brood.Tables {
		t := brood.Settings(s).Over(brood.DefaultTables())
		return &t
	}
	for name, c := range map[string]struct {
		now, next *brood.Tables
		want      int
	}{
		"heat higher":          {&shipped, over(set(brood.NestAir, "heat_critical", 0, 3, 37)), 1},
		"heat lower":           {&shipped, over(set(brood.NestAir, "heat_critical", 0, 3, 34)), 0},
		"cold lower":           {&shipped, over(set(brood.Cluster, "chill_warn", 0, 3, 32)), 1},
		"cold higher":          {&shipped, over(set(brood.NestAir, "cold_warn", 0, 3, 16)), 0},
		"back towards shipped": {over(set(brood.NestAir, "heat_critical", 0, 3, 37)), over(set(brood.NestAir, "heat_critical", 0, 3, 36)), 0},
		"over two rows":        {&shipped, over(set(brood.NestAir, "heat_critical", 0, 20, 36)), 3},
	} {
		t.Run(name, func(t *testing.T) {
			got := c.next.LaxerThan(c.now)
			if len(got) != c.want {
				t.Errorf("%+v", got)
			}
			if name == "over two rows" && (got[0].From != 0 || got[0].To != 7 || got[2].To != 20 || got[2].Shipped.C != 33) {
				t.Errorf("%+v", got)
			}
		})
	}
}
