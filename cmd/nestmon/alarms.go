package main

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"nestmon/thresholds/alarm"
)

var alarmsCommand = command{"alarms", "list the alarms of the running daemon, answer them, and try the ways to your phone", runAlarms}

// alarmActions is what can be asked of alarms, by the word after the command.
var alarmActions = map[string]func(ctx context.Context, args []string, std stdio) int{
	"list":           listAlarms,
	"ack":            onAlarm{verb: "ack", action: alarm.Acknowledge, did: "acknowledged"}.run,
	"shelve":         onAlarm{verb: "shelve", action: alarm.Shelve, did: "shelved", timed: true}.run,
	"unshelve":       onAlarm{verb: "unshelve", action: alarm.Unshelve, did: "taken off its shelf"}.run,
	"out-of-service": onAlarm{verb: "out-of-service", action: alarm.TakeOut, did: "taken out of service"}.run,
	"in-service":     onAlarm{verb: "in-service", action: alarm.PutBack, did: "put back in service"}.run,
	"test":           tryAlarms,
	"journal":        runJournal,
	"quality":        runQuality,
}

const alarmsUsage = `alarms [ACTION] [--config F] [--json]
  list                             what stands, and what nobody is called for
  ack             --nest N         you have seen it; it calls again when it grows worse
  shelve          --nest N         no calls for a while, --for 30m
  unshelve        --nest N         no longer shelved
  out-of-service  --nest N         no calls until you put it back
  in-service      --nest N         put back
  test                             a trial message over every channel
  journal                          what was raised and over, and who did what about it
  quality                          how good the alarms were
One alarm alone: --event E. Without --nest the whole site's own alarms are meant. 'nestmon alarms ACTION -h' lists the flags of each.`

func runAlarms(ctx context.Context, args []string, std stdio) int {
	action := "list"
	if len(args) > 0 && args[0] != "" && args[0][0] != '-' {
		action, args = args[0], args[1:]
	}
	do, ok := alarmActions[action]
	if !ok {
		fmt.Fprintf(std.err, "nestmon alarms: action %q is unknown; write one of: %s\n", action, strings.Join(slices.Sorted(maps.Keys(alarmActions)), ", "))
		return exitWrongUse
	}
	return do(ctx, args, std)
}

// listAlarms prints what stands and, after it, what does not call. An alarm that stands is a finding.
func listAlarms(ctx context.Context, args []string, std stdio) int {
	fs := flags("alarms list", alarmsUsage, std)
	file := fs.String("config", installedConfig, "the daemon's configuration `file`")
	asJSON := fs.Bool("json", false, "print one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig("alarms list", *file, std)
	if !ok {
		return exitWrongUse
	}
	var s stateView
	if err := call(cfg.Control).in(cfg.Site.Display).get(ctx, "/api/state", &s); err != nil {
		fmt.Fprintf(std.err, "nestmon alarms list: %v\n", err)
		return exitWrongUse
	}
	on := []alarmView{}
	for _, a := range s.Alarms {
		if a.Alarm {
			on = append(on, a)
		}
	}
	code := exitDone
	if len(on) > 0 {
		code = exitFinding
	}
	if *asJSON {
		if err := printJSON(std.out, append(on, s.Quiet...)); err != nil {
			fmt.Fprintf(std.err, "nestmon alarms list: %v\n", err)
			return exitWrongUse
		}
		return code
	}
	if len(on) == 0 {
		fmt.Fprintln(std.out, "No alarm is on.")
	}
	s.writeNobody(std.out)
	for _, n := range s.Nests { // no alarm is not the same as all well
		if gaps := n.gaps(); gaps != "" {
			wrap(std.out, "not judged, or in part: ", "nest "+n.ID+": "+gaps)
		}
	}
	for _, a := range on {
		a.write(std.out, cfg.location())
		a.because(std.out)
	}
	if len(s.Quiet) > 0 {
		fmt.Fprint(std.out, "\nNot on, and not as usual:\n")
	}
	for _, a := range s.Quiet {
		a.writeQuiet(std.out, cfg.location())
	}
	return code
}
