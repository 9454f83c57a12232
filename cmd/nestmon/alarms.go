package main

import (
	"context"
	"fmt"

	"nestmon/thresholds/alarm"
)

var (
	alarmsCommand = command{"alarms", "list the alarms of the running daemon, or say that one was seen", func(ctx context.Context, args []string, std stdio) int {
		return onList{"alarms", "seen", "/control/acknowledge", false}.run(ctx, args, std)
	}}
	choresCommand = command{"chores", "list the chores of the running daemon, or mark one done", func(ctx context.Context, args []string, std stdio) int {
		return onList{"chores", "done", "/control/done", true}.run(ctx, args, std)
	}}
)

// onList is a command about what is on: it lists, or tells the daemon what a person did about one line.
type onList struct {
	name, verb, path string
	chores           bool
}

func (o onList) run(ctx context.Context, args []string, std stdio) int {
	action := "list"
	if len(args) > 0 && args[0] != "" && args[0][0] != '-' {
		action, args = args[0], args[1:]
	}
	fs := flags(o.name, fmt.Sprintf("%s [list|%s] [--config F] [--nest N] [--event E]", o.name, o.verb), std)
	file := fs.String("config", installedConfig, "the daemon's configuration `file`")
	nest := fs.String("nest", "", "the `nest`'s id; left out for the whole site's own")
	event := fs.String("event", "", "the `event`, as the list names it")
	asJSON := fs.Bool("json", false, "print one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig(o.name, *file, std)
	if !ok {
		return exitWrongUse
	}
	d := call(cfg.Control)
	var err error
	code := exitDone
	switch action {
	case "list":
		code, err = o.list(ctx, d, cfg, *asJSON, std)
	case o.verb:
		if err = d.post(ctx, o.path, place{*nest, alarm.Name(*event)}, nil); err == nil {
			err = o.confirm(place{*nest, alarm.Name(*event)}, *asJSON, std)
		}
	default:
		err = fmt.Errorf("action %q is unknown; write list or %s", action, o.verb)
	}
	if err != nil {
		fmt.Fprintf(std.err, "nestmon %s: %v\n", o.name, err)
		return exitWrongUse
	}
	return code
}

func (o onList) confirm(at place, asJSON bool, std stdio) error {
	if asJSON {
		return printJSON(std.out, at)
	}
	_, err := fmt.Fprintf(std.out, "%s of %s is marked as %s.\n", at.Event, nestOrSite(at.Nest), o.verb)
	return err
}

// list prints what is on; an alarm that stands is a finding, a chore is not. A chore from warning up is in both lists.
func (o onList) list(ctx context.Context, d *caller, cfg *config, asJSON bool, std stdio) (int, error) {
	var s stateView
	if err := d.get(ctx, "/api/state", &s); err != nil {
		return exitWrongUse, err
	}
	on := []alarmView{}
	for _, a := range s.Alarms {
		if o.chores && a.Chore || !o.chores && a.Alarm {
			on = append(on, a)
		}
	}
	code := exitDone
	if len(on) > 0 && !o.chores {
		code = exitFinding
	}
	if asJSON {
		return code, printJSON(std.out, on)
	}
	if len(on) == 0 {
		fmt.Fprintf(std.out, "No %s.\n", o.name)
	}
	for _, a := range on {
		a.write(std.out, cfg.location())
		a.because(std.out)
	}
	return code, nil
}

func nestOrSite(nest string) string {
	if nest == "" {
		return "the site"
	}
	return "nest " + nest
}
