package main

import (
	"context"
	"fmt"
	"text/tabwriter"
	"time"

	"nestmon/thresholds/book"
	"nestmon/thresholds/litter"
)

var litterCommand = command{"litter", "list and write the litter book of the running daemon", runLitter}

const litterUsage = `litter ACTION [--config F] [--nest N] [--on DATE] [--born K]
  list                   the litter book
  bred     --nest N      she was bred on that day: a new litter
  kindled  --nest N      she kindled, --born K kits alive
  ended    --nest N      the kits are gone: weaned, collected, lost, or she did not kindle
  report                 what became of a litter beside what was measured; see 'litter report -h'`

func runLitter(ctx context.Context, args []string, std stdio) int {
	action := "list"
	if len(args) > 0 && len(args[0]) > 0 && args[0][0] != '-' {
		action, args = args[0], args[1:]
	}
	if action == "report" {
		return runReport(ctx, args, std)
	}
	fs := flags("litter", litterUsage, std)
	file := fs.String("config", installedConfig, "the daemon's configuration `file`")
	nest := fs.String("nest", "", "the `nest`'s id")
	on := fs.String("on", "", "the `day` or time; today where it is left out")
	born := fs.Int("born", -1, "kits born `alive`")
	asJSON := fs.Bool("json", false, "print one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig("litter", *file, std)
	if !ok {
		return exitWrongUse
	}
	at := time.Now().In(cfg.location()).Truncate(time.Second)
	if *on != "" {
		var err error
		if at, err = parseTime(*on, cfg.location()); err != nil {
			fmt.Fprintf(std.err, "nestmon litter: --on: %v\n", err)
			return exitWrongUse
		}
	}
	if action != "list" && *nest == "" {
		fmt.Fprintln(std.err, "nestmon litter: --nest is missing; name the nest as the configuration does")
		return exitWrongUse
	}
	d := call(cfg.Control)
	entry := book.Entry{What: book.What(action), Nest: *nest, At: at, Day: len(*on) == len(time.DateOnly)}
	if *born >= 0 {
		entry.Kits = born
	}
	var err error
	switch action {
	case "list":
		err = listLitters(ctx, d, *asJSON, std)
	case "bred", "kindled", "ended", "did-not-kindle":
		err = enter(ctx, d, entry, *asJSON, std)
	default:
		fmt.Fprintf(std.err, "nestmon litter: action %q is unknown; write one of: list, bred, kindled, ended\n", action)
		return exitWrongUse
	}
	if err != nil {
		fmt.Fprintf(std.err, "nestmon litter: %v\n", err)
		return exitWrongUse
	}
	return exitDone
}

func enter(ctx context.Context, d *caller, e book.Entry, asJSON bool, std stdio) error {
	var saved enterAnswer
	if err := d.post(ctx, "/control/enter", []book.Entry{e}, &saved); err != nil {
		return err
	}
	for _, doubt := range saved.Doubts {
		fmt.Fprintf(std.err, "nestmon litter: %s\n", doubt)
	}
	if asJSON {
		return printJSON(std.out, saved)
	}
	for _, e := range saved.Stored {
		fmt.Fprintf(std.out, "Saved: entry %d, litter %d, nest %s, %s on %s.\n", e.ID, e.Litter, e.Nest, e.What, day(e.At))
	}
	return nil
}

func listLitters(ctx context.Context, d *caller, asJSON bool, std stdio) error {
	var book []litter.Litter
	if err := d.get(ctx, "/control/litters", &book); err != nil {
		return err
	}
	if asJSON {
		views := []litterJSON{}
		for _, l := range book {
			views = append(views, litterView(l))
		}
		return printJSON(std.out, views)
	}
	if len(book) == 0 {
		fmt.Fprintln(std.out, "The litter book is empty. Enter a litter with: nestmon litter bred --nest N --on DATE")
		return nil
	}
	w := tabwriter.NewWriter(std.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "nest\tbred\tkindled\tborn\tended")
	for _, l := range book {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", l.Nest, day(l.Bred), day(l.Kindled), countOf(l.Born), day(l.Ended))
	}
	return w.Flush()
}

type litterJSON struct {
	Nest    string     `json:"nest"`
	Bred    *time.Time `json:"bred"`
	Kindled *time.Time `json:"kindled"`
	Born    *int       `json:"born"`
	Ended   *time.Time `json:"ended"`
}

func litterView(l litter.Litter) litterJSON {
	v := litterJSON{Nest: l.Nest, Bred: known(l.Bred), Kindled: known(l.Kindled), Ended: known(l.Ended)}
	if l.Born > 0 {
		v.Born = &l.Born
	}
	return v
}

func known(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

func day(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return t.Format(time.DateOnly)
}

func countOf(n int) string {
	if n == 0 {
		return "-"
	}
	return fmt.Sprint(n)
}
