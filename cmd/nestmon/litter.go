package main

import (
	"context"
	"errors"
	"fmt"
	"text/tabwriter"
	"time"

	"nestmon/thresholds/litter"
)

var litterCommand = command{"litter", "list and write the litter book of the running daemon", runLitter}

// litterChange is one entry into the litter book. Fields that are left out stay as they are.
type litterChange struct {
	Nest    string     `json:"nest"`
	Bred    *time.Time `json:"bred,omitempty"` // begins a new litter
	Kindled *time.Time `json:"kindled,omitempty"`
	Born    *int       `json:"born,omitempty"`
	Ended   *time.Time `json:"ended,omitempty"`
}

const litterUsage = `litter ACTION [--config F] [--nest N] [--on DATE] [--born K]
  list                   the litter book
  bred     --nest N      she was bred on that day: a new litter
  kindled  --nest N      she kindled, --born K kits alive
  ended    --nest N      the kits are gone: weaned, collected, lost, or she did not kindle`

func runLitter(ctx context.Context, args []string, std stdio) int {
	action := "list"
	if len(args) > 0 && len(args[0]) > 0 && args[0][0] != '-' {
		action, args = args[0], args[1:]
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
	change := litterChange{Nest: *nest}
	if *born >= 0 {
		change.Born = born
	}
	var err error
	switch action {
	case "list":
		err = listLitters(ctx, d, *asJSON, std)
	case "bred":
		change.Bred = &at
		err = putLitter(ctx, d, change, *asJSON, std)
	case "kindled":
		change.Kindled = &at
		err = putLitter(ctx, d, change, *asJSON, std)
	case "ended":
		change.Ended = &at
		err = putLitter(ctx, d, change, *asJSON, std)
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

func putLitter(ctx context.Context, d *caller, change litterChange, asJSON bool, std stdio) error {
	var saved litter.Litter
	if err := d.post(ctx, "/control/litter", change, &saved); err != nil {
		return err
	}
	if asJSON {
		return printJSON(std.out, litterView(saved))
	}
	fmt.Fprintf(std.out, "Saved: nest %s, bred %s, kindled %s, born %s, ended %s.\n", saved.Nest, day(saved.Bred), day(saved.Kindled), countOf(saved.Born), day(saved.Ended))
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

// changeLitter writes an entry into the litter book, durable before it returns.
func (d *daemon) changeLitter(ctx context.Context, c litterChange) (saved litter.Litter, err error) {
	err = d.command(ctx, func() error {
		book, err := d.archive.Litters()
		if err != nil {
			return err
		}
		l, err := c.apply(book, d.cfg, d.pace.Now())
		if err != nil {
			return err
		}
		if err := d.card.write(func() error { l, err = d.archive.PutLitter(l); return err }); err != nil {
			return err
		}
		saved = l
		if book, err = d.archive.Litters(); err != nil {
			return err
		}
		d.judge.rabbitry.SetLitters(book, d.pace.Now())
		return nil
	})
	return saved, err
}

// apply makes the new entry: a change to the nest's litter it is about, or a first one. A doe may be bred again while her kits are still in
// the nest, so a nest may have two that are open.
func (c litterChange) apply(book []litter.Litter, cfg *config, now time.Time) (litter.Litter, error) {
	if err := c.check(cfg, now); err != nil {
		return litter.Litter{}, err
	}
	entry := c.about(book)
	if c.Ended != nil && entry.ID == 0 {
		return litter.Litter{}, fmt.Errorf("nest %q holds no litter that could end", c.Nest)
	}
	for _, f := range []struct{ from, to *time.Time }{{c.Bred, &entry.Bred}, {c.Kindled, &entry.Kindled}, {c.Ended, &entry.Ended}} {
		if f.from != nil {
			*f.to = *f.from
		}
	}
	if c.Born != nil {
		entry.Born = *c.Born
	}
	return entry, checkLitter(entry)
}

// about is the open litter a change means: an end means kits before a pregnancy, everything else the newest; a breeding means one that has
// not kindled yet, or a new one.
func (c litterChange) about(book []litter.Litter) litter.Litter {
	var open []litter.Litter
	for _, l := range book {
		if l.Nest == c.Nest && l.Ended.IsZero() {
			open = append(open, l)
		}
	}
	for _, l := range open {
		if c.Ended != nil && !l.Kindled.IsZero() {
			return l
		}
	}
	if n := len(open); n > 0 && (c.Bred == nil || open[n-1].Kindled.IsZero()) {
		return open[n-1]
	}
	return litter.Litter{Nest: c.Nest}
}

func (c litterChange) check(cfg *config, now time.Time) error {
	found := false
	for _, n := range cfg.Nests {
		found = found || n.ID == c.Nest
	}
	if !found {
		return fmt.Errorf("nest %q is not in the configuration", c.Nest)
	}
	for _, t := range []*time.Time{c.Bred, c.Kindled, c.Ended} {
		if t != nil && t.After(now.Add(time.Hour)) {
			return fmt.Errorf("%s is in the future; look at the date", t.Format(time.RFC3339))
		}
	}
	if c.Bred == nil && c.Kindled == nil && c.Ended == nil {
		return errors.New("nothing to enter; give bred, kindled or ended")
	}
	return nil
}
