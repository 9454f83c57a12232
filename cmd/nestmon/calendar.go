package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

var calendarCommand = command{
	name:  "calendar",
	short: "the dates of a litter, from breeding to weaning",
	run:   runCalendar,
}

// Kindlings seen at all, days after breeding (common practice): outside it one of the two dates is likely wrong.
const seenFrom, seenTo = 25, 36

func runCalendar(_ context.Context, args []string, std stdio) int {
	fs := flags("calendar", "calendar --bred DATE --kind K [--season S] [--kindled DATE] [--config F] [--json]", std)
	file := fs.String("config", "", "the configuration `file` whose days to use; as shipped where it is left out")
	bredText := fs.String("bred", "", "day the doe was bred, YYYY-MM-DD")
	kindText := fs.String("kind", "", "kind of nest: wooden-box, metal-box or buried-tote")
	seasonText := fs.String("season", string(brood.Mild), "winter, mild or summer, when the box comes out")
	kindledText := fs.String("kindled", "", "day she kindled, YYYY-MM-DD, once known")
	asJSON := fs.Bool("json", false, "write one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := configOf(fs, "calendar", *file, std)
	if !ok {
		return exitWrongUse
	}
	if *bredText == "" {
		return wrongUse(fs, errors.New("--bred is missing; write it like --bred 2025-03-01"))
	}
	kind, err := choose("kind", *kindText, brood.Kinds)
	if err != nil {
		return wrongUse(fs, err)
	}
	season, err := choose("season", *seasonText, brood.Seasons)
	if err != nil {
		return wrongUse(fs, err)
	}
	bred, err := litter.ParseDate(*bredText)
	if err != nil {
		return wrongUse(fs, fmt.Errorf("--bred: %w", err))
	}
	// Dates alone know no time of day: noon in UTC is as good as any.
	var kindled time.Time
	if given(fs)["kindled"] {
		day, err := litter.ParseDate(*kindledText)
		if err != nil {
			return wrongUse(fs, fmt.Errorf("--kindled: %w", err))
		}
		kindled = day.Noon(time.UTC)
		gestation := litter.Day(bred.Noon(time.UTC), kindled, time.UTC)
		if gestation < 0 {
			return wrongUse(fs, fmt.Errorf("kindled %s is before bred %s; write the later day as --kindled", day, bred))
		}
		if gestation < seenFrom || gestation > seenTo {
			fmt.Fprintf(std.err, "nestmon calendar: kindled on day %d after breeding; kindlings are seen on days %d to %d, so check both dates\n",
				gestation, seenFrom, seenTo)
		}
	}
	c := cfg.Chores.Calendar(bred.Noon(time.UTC), kindled, kind, season, time.UTC)
	if *asJSON {
		err = printJSON(std.out, c)
	} else {
		err = printCalendar(std.out, c, &cfg.Chores, kindled, kind, season)
	}
	if err != nil {
		return wrongUse(fs, fmt.Errorf("writing the answer: %w", err))
	}
	return exitDone
}

// configOf is the configuration that a command was given, the shipped numbers where it was given none.
func configOf(fs *flag.FlagSet, command, file string, std stdio) (*config, bool) {
	if !given(fs)["config"] {
		return defaultConfig(), true
	}
	return openConfig(command, file, std)
}

// printCalendar writes the dates for people, each with the days it stands for and their basis.
func printCalendar(out io.Writer, c litter.Calendar, d *litter.Days, kindled time.Time, kind brood.Kind, season brood.Season) error {
	fmt.Fprintf(out, "Bred %s, %s, %s. ", weekday(c.Bred), kind, season)
	if kindled.IsZero() {
		fmt.Fprint(out, "Not kindled yet: dates after it are provisional.\n\n")
	} else {
		fmt.Fprintf(out, "Kindled %s.\n\n", weekday(litter.DateOf(kindled, time.UTC)))
	}
	shipped := litter.DefaultDays()
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, l := range []struct {
		what     string
		from, to litter.Date // to may be none
		days     func(d *litter.Days) litter.Window
		clock    string
		key      string
		basis    string
	}{
		{"check pregnancy", c.CheckPregnancy.From, c.CheckPregnancy.To, func(d *litter.Days) litter.Window { return d.Pregnancy }, "breeding", "check_pregnancy", "common practice"},
		{"box in", c.BoxDue.From, c.BoxDue.To, func(d *litter.Days) litter.Window { return d.BoxIn }, "breeding", "box_in", "common practice"},
		{"kindling possible", c.Kindling.Earliest, c.Kindling.Latest, func(d *litter.Days) litter.Window { return d.Kindling }, "breeding", "kindling", "veterinary text, second hand"},
		{"kindling expected", c.Kindling.ExpectedFrom, c.Kindling.ExpectedTo, func(d *litter.Days) litter.Window { return d.Expected }, "breeding", "expected", "published: means of 31.7 days (Rashwan, Szendrő et al.)"},
		{"overdue", c.Overdue, litter.Date{}, func(d *litter.Days) litter.Window { return litter.Window{From: d.Overdue} }, "breeding", "overdue", "common practice"},
		{"collect from tote", c.CollectFromTote.From, c.CollectFromTote.To, func(d *litter.Days) litter.Window { return d.Collect }, "kindling", "collect", "common practice"},
		{"turn box", c.TurnBox, litter.Date{}, func(d *litter.Days) litter.Window { return litter.Window{From: d.TurnBox} }, "kindling", "turn_box", "common practice"},
		{"remove box", c.RemoveBox, litter.Date{}, func(d *litter.Days) litter.Window { return litter.Window{From: d.BoxOutDay(season)} }, "kindling", "box_out", "common practice"},
		{"wean", c.Wean.From, c.Wean.To, func(d *litter.Days) litter.Window { return d.Wean }, "kindling", "wean", "veterinary text, second hand; to 8 weeks common practice"},
		{"wean, suggested", c.Wean.Suggested, litter.Date{}, func(d *litter.Days) litter.Window { return litter.Window{From: d.WeanAt} }, "kindling", "wean_at", "judgement"},
	} {
		days := l.days(d)
		if days != l.days(&shipped) {
			l.basis = "configuration, chores." + l.key
		}
		switch {
		case l.from.IsZero():
		case l.to.IsZero():
			fmt.Fprintf(w, "%s\t%s\t\tday %d after %s\t%s\n", l.what, weekday(l.from), days.From, l.clock, l.basis)
		default:
			fmt.Fprintf(w, "%s\t%s\tto %s\tday %d-%d after %s\t%s\n", l.what, weekday(l.from), weekday(l.to), days.From, days.To, l.clock, l.basis)
		}
	}
	return w.Flush()
}

// weekday writes a date with its day of the week.
func weekday(d litter.Date) string { return d.Noon(time.UTC).Format("Mon 2006-01-02") }
