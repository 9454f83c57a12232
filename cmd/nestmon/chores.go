package main

import (
	"context"
	"fmt"

	"nestmon/thresholds/alarm"
)

var choresCommand = command{"chores", "list the chores of the running daemon, or mark one done", runChores}

func runChores(ctx context.Context, args []string, std stdio) int {
	action := "list"
	if len(args) > 0 && args[0] != "" && args[0][0] != '-' {
		action, args = args[0], args[1:]
	}
	fs := flags("chores", "chores [list|done] [--config F] [--nest N] [--event E]\n  list   what is due\n  done   --nest N --event E has been done", std)
	file := fs.String("config", installedConfig, "the daemon's configuration `file`")
	nest := fs.String("nest", "", "the `nest`'s id; left out for the whole site's own")
	event := fs.String("event", "", "the `event`, as the list names it")
	asJSON := fs.Bool("json", false, "print one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig("chores", *file, std)
	if !ok {
		return exitWrongUse
	}
	d, at := call(cfg.Control), place{*nest, alarm.Name(*event)}
	var err error
	switch action {
	case "list":
		err = listChores(ctx, d, cfg, *asJSON, std)
	case "done":
		if err = d.post(ctx, "/control/done", at, nil); err != nil {
			break
		}
		if *asJSON {
			err = printJSON(std.out, at)
			break
		}
		fmt.Fprintf(std.out, "%s of %s is marked as done.\n", at.Event, nestOrSite(at.Nest))
	default:
		err = fmt.Errorf("action %q is unknown; write list or done", action)
	}
	if err != nil {
		fmt.Fprintf(std.err, "nestmon chores: %v\n", err)
		return exitWrongUse
	}
	return exitDone
}

// listChores prints what is due. A chore is no finding; one from warning up is among the alarms too.
func listChores(ctx context.Context, d *caller, cfg *config, asJSON bool, std stdio) error {
	var s stateView
	if err := d.get(ctx, "/api/state", &s); err != nil {
		return err
	}
	due := []alarmView{}
	for _, a := range s.Alarms {
		if a.Chore {
			due = append(due, a)
		}
	}
	if asJSON {
		return printJSON(std.out, due)
	}
	if len(due) == 0 {
		fmt.Fprintln(std.out, "No chores.")
	}
	for _, a := range due {
		a.write(std.out, cfg.location())
		a.because(std.out)
	}
	return nil
}
