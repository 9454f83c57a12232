package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"nestmon/thresholds/brood"
)

var limitsCommand = command{
	name:  "limits",
	short: "the limits for kits of an age, each with its source",
	run:   runLimits,
}

// limitsReport is what the command says, in the order of its JSON.
type limitsReport struct {
	Age     int            `json:"age_days"`
	Kind    brood.Kind     `json:"kind"`
	Season  brood.Season   `json:"season"`
	Cluster *clusterReport `json:"cluster"`
	NestAir airLimits      `json:"nest_air"`
	own     bool           // of a configuration
}

type clusterReport struct {
	ChillWarn     limitReport `json:"chill_warn"`
	ChillCritical limitReport `json:"chill_critical"`
	HeatWarn      limitReport `json:"heat_warn"`
	HeatCritical  limitReport `json:"heat_critical"`
}

type airLimits struct {
	ColdWarn     limitReport `json:"cold_warn"`
	ColdCritical limitReport `json:"cold_critical"`
	HeatWarn     limitReport `json:"heat_warn"`
	HeatCritical limitReport `json:"heat_critical"`
}

type limitReport struct {
	C      float64 `json:"limit_c"`
	Delay  int64   `json:"delay_s"`
	Source string  `json:"source"`
	notice bool
}

// chillMargin tells in words what the detector of chill in thresholds/nest keeps in numbers; a test holds the two together.
var chillMargin = []string{
	"An example of cluster chill: the limit is 34 °C, nest air 5 °C, one probe lies under the pile. The alarm comes when the core, as " +
		"worked out from the probe, has cooled to 1.7 °C (3.1 °F) under the limit and still cools.",
	"How it is worked out: in its best time of the last four hours the core is taken to have been at 37.3 °C (99.1 °F). What part of that warmth " +
		"over nest air the probe has lost since then, the core has lost too.",
	"By how much the limit must be passed, since nobody knows exactly where a probe lies: by 6 % of its distance to nest air with one cluster probe and by 3 % with two; " +
		"critical by 18 % and 10 %. By more where this pile's warmth wanders much from hour to hour.",
	"A pile that no longer cools is held against its day's usual warmth instead: there the limit must be missed by 33 % of its distance to nest air for an hour; critical by 39 %.",
}

func runLimits(_ context.Context, args []string, std stdio) int {
	fs := flags("limits", "limits --age D --kind K [--season S] [--config F] [--json]", std)
	file := fs.String("config", "", "the configuration `file` whose limits to use; as shipped where it is left out")
	age := fs.Int("age", 0, "age of the kits in whole days, 0 on the day of kindling")
	kindText := fs.String("kind", "", "kind of nest: wooden-box, metal-box or buried-tote")
	seasonText := fs.String("season", string(brood.Mild), "winter, mild or summer")
	asJSON := fs.Bool("json", false, "write one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	if !given(fs)["age"] {
		return wrongUse(fs, errors.New("--age is missing; write whole days since kindling, like --age 5"))
	}
	if *age < 0 || *age > brood.LastDay {
		return wrongUse(fs, fmt.Errorf("age %d days is outside 0 to %d; write whole days since kindling", *age, brood.LastDay))
	}
	kind, err := choose("kind", *kindText, brood.Kinds)
	if err != nil {
		return wrongUse(fs, err)
	}
	season, err := choose("season", *seasonText, brood.Seasons)
	if err != nil {
		return wrongUse(fs, err)
	}
	cfg, ok := configOf(fs, "limits", *file, std)
	if !ok {
		return exitWrongUse
	}
	own := given(fs)["config"]
	if own {
		cfg.withLimits("limits", std)
	}
	r := reportLimits(cfg.tables(), *age, kind, season)
	r.own = own
	if *asJSON {
		err = printJSON(std.out, r)
	} else {
		err = r.print(std.out)
	}
	if err != nil {
		return wrongUse(fs, fmt.Errorf("writing the answer: %w", err))
	}
	return exitDone
}

func reportLimits(tables brood.Tables, age int, kind brood.Kind, season brood.Season) limitsReport {
	a := tables.Air(age, season)
	r := limitsReport{
		Age: age, Kind: kind, Season: season,
		NestAir: airLimits{limitOf(a.ColdWarn), limitOf(a.ColdCritical), limitOf(a.HeatWarn), limitOf(a.HeatCritical)},
	}
	if c, ok := tables.Cluster(age, season); ok {
		r.Cluster = &clusterReport{limitOf(c.ChillWarn), limitOf(c.ChillCritical), limitOf(c.HeatWarn), limitOf(c.HeatCritical)}
	}
	return r
}

func limitOf(l brood.Limit) limitReport {
	return limitReport{C: l.C, Delay: int64(l.Delay / time.Second), Source: l.Source, notice: l.Notice}
}

// print writes the report for people: a table, and its sources below it.
func (r limitsReport) print(out io.Writer) error {
	whose := "As shipped; a configuration may set its own."
	if r.own {
		whose = "As the configuration has them, and over it the page."
	}
	fmt.Fprintf(out, "Kits of %d days, %s, %s. %s\n\n", r.Age, r.Kind, r.Season, whose)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	var sources []string
	row := func(name, side string, l limitReport) {
		n := len(sources) + 1
		for i, s := range sources {
			if s == l.Source {
				n = i + 1
			}
		}
		if n > len(sources) {
			sources = append(sources, l.Source)
		}
		fmt.Fprintf(w, "%s\t%s %g °C\t%.1f °F\tfor %d min\t[%d]\n", name, side, l.C, toFahrenheit(l.C), l.Delay/60, n)
	}
	if c := r.Cluster; c != nil {
		chill := "cluster chill, warning"
		if c.ChillWarn.notice {
			chill = "cluster chill, notice"
		}
		row(chill, "below", c.ChillWarn)
		row("cluster chill, critical", "below", c.ChillCritical)
		row("cluster heat, warning", "above", c.HeatWarn)
		row("cluster heat, critical", "above", c.HeatCritical)
	} else {
		fmt.Fprintf(w, "cluster\tno limits after day %d\n", brood.LastClusterDay)
	}
	row("nest air cold, warning", "below", r.NestAir.ColdWarn)
	row("nest air cold, critical", "below", r.NestAir.ColdCritical)
	row("nest air heat, warning", "above", r.NestAir.HeatWarn)
	row("nest air heat, critical", "above", r.NestAir.HeatCritical)
	if err := w.Flush(); err != nil {
		return err
	}
	if r.Cluster != nil {
		fmt.Fprintln(out)
		for _, part := range chillMargin {
			fmt.Fprintf(out, "%s\n", part)
		}
	}
	h := brood.Humidity(r.Kind)
	fmt.Fprintf(out, "\nAn alarm clears %g °C on the safe side of its limit. Humidity: warning above %g %%", brood.Deadband, h.WarnAbove)
	if h.NoticeBelow > 0 {
		fmt.Fprintf(out, " with the air above %g °C or a chilled cluster, notice below %g %% and above %g %%",
			brood.BoxWetAir, h.NoticeBelow, h.NoticeAbove)
	}
	fmt.Fprintf(out, "; %s.\n\n", h.Source)
	for i, s := range sources {
		if _, err := fmt.Fprintf(out, "[%d] %s\n", i+1, s); err != nil {
			return err
		}
	}
	return nil
}
