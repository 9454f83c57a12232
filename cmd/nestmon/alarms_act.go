package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"nestmon/thresholds/alarm"
)

// onAlarm is a command that does something about alarms.
type onAlarm struct {
	verb   string
	action alarm.Action
	did    string
	timed  bool // it takes how long
}

func (o onAlarm) run(ctx context.Context, args []string, std stdio) int {
	name, usage := "alarms "+o.verb, fmt.Sprintf("alarms %s [--config F] [--nest N] [--event E]", o.verb)
	if o.timed {
		usage += " [--for 30m]"
	}
	fs := flags(name, usage, std)
	file := fs.String("config", installedConfig, "the daemon's configuration `file`")
	nest := fs.String("nest", "", "the `nest`'s id; left out for the whole site's own")
	event := fs.String("event", "", "the `event`, as the list names it; left out for every alarm of the nest")
	asJSON := fs.Bool("json", false, "print one JSON value")
	length := time.Duration(0)
	if o.timed {
		fs.DurationVar(&length, "for", 0, fmt.Sprintf("how `long` nobody is called, such as 30m; left out for the longest, %s for heat, chill and whole nests, %s for others",
			alarm.LongestDangerShelf, alarm.LongestShelf))
	}
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig(name, *file, std)
	if !ok {
		return exitWrongUse
	}
	act := alarm.Act{Action: o.action, Nest: *nest, Event: alarm.Name(*event), For: length}
	var before stateView
	whole := o.action == alarm.Acknowledge && *event == ""
	if whole {
		if err := call(cfg.Control).in(cfg.Site.Display).get(ctx, "/api/state", &before); err != nil {
			fmt.Fprintf(std.err, "nestmon %s: %v\n", name, err)
			return exitWrongUse
		}
	}
	if err := call(cfg.Control).in(cfg.Site.Display).post(ctx, "/control/act", act, &act); err != nil {
		fmt.Fprintf(std.err, "nestmon %s: %v\n", name, err)
		if *nest == "" {
			fmt.Fprintln(std.err, "Without --nest the whole site's own alarms are meant; of a nest: --nest ID")
		}
		return exitWrongUse
	}
	if *asJSON {
		if err := printJSON(std.out, act); err != nil {
			fmt.Fprintf(std.err, "nestmon %s: %v\n", name, err)
			return exitWrongUse
		}
		return exitDone
	}
	if whole {
		fmt.Fprintln(std.out, before.seen(act.Nest)+".")
		return exitDone
	}
	what := string(act.Event)
	if what == "" {
		what = "Every alarm"
	}
	fmt.Fprintf(std.out, "%s of %s is %s%s.\n", what, nestOrSite(act.Nest), o.did, o.until(act, cfg.location()))
	return exitDone
}

// seen says what of a nest an acknowledgement meant that named no event.
func (s stateView) seen(nest string) string {
	var called []string
	chores := 0
	for _, a := range slices.Concat(s.Alarms, s.Quiet) {
		of := ""
		if a.Nest != nil {
			of = *a.Nest
		}
		switch {
		case of != nest || a.Status != string(alarm.Unacknowledged) && a.Status != string(alarm.Returned):
		case a.Alarm:
			called = append(called, a.Event)
		case a.Chore:
			chores++
		}
	}
	said := "Nothing of " + nestOrSite(nest) + " called anybody"
	if len(called) > 0 {
		said = "Of " + nestOrSite(nest) + " acknowledged: " + strings.Join(called, ", ") + "; each calls again when it grows worse, or ends and comes again"
	}
	switch chores {
	case 0:
		return said
	case 1:
		return said + "; 1 chore is marked seen, not done"
	}
	return fmt.Sprintf("%s; %d chores are marked seen, not done", said, chores)
}

// until says how long it lasts, and what ends it.
func (o onAlarm) until(act alarm.Act, loc *time.Location) string {
	switch o.action {
	case alarm.Shelve:
		if act.For == 0 {
			act.For = alarm.MaxShelf(act.Event)
		}
		return " until " + time.Now().Add(act.For).In(loc).Format("15:04") + "; nobody is called for it until then, unless it grows worse"
	case alarm.TakeOut:
		return "; nobody is called for it until you write 'nestmon alarms in-service' with the same flags"
	case alarm.Acknowledge:
		return "; it calls again when it grows worse, or ends and comes again"
	}
	return ""
}

func nestOrSite(nest string) string {
	if nest == "" {
		return "the site"
	}
	return "nest " + nest
}
