package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/litter"
)

var choresCommand = command{"chores", "list the chores of the running daemon, or mark one done", runChores}

const choresUsage = `chores [list|done|feed] [--config F] [--nest N] [--json]
  list   what is overdue, due today and coming, [--days 7] ahead, with [--why]
  done   --nest N --event E has been done, now or [--on TIME]; --nest A,B for several nests
  feed   the chores in a phone's own calendar: 'nestmon chores feed -h'`

// nestList is a flag that names nests: given again, or with commas.
type nestList []string

func (l *nestList) String() string { return strings.Join(*l, ",") }

func (l *nestList) Set(text string) error {
	for _, id := range strings.Split(text, ",") {
		if id = strings.TrimSpace(id); id != "" && !slices.Contains(*l, id) {
			*l = append(*l, id)
		}
	}
	return nil
}

func runChores(ctx context.Context, args []string, std stdio) int {
	if len(args) > 0 && args[0] == "feed" {
		return runChoresFeed(ctx, args[1:], std)
	}
	action := "list"
	if len(args) > 0 && args[0] != "" && args[0][0] != '-' {
		action, args = args[0], args[1:]
	}
	fs := flags("chores", choresUsage, std)
	file := fs.String("config", installedConfig, "the daemon's configuration `file`")
	var nests nestList
	fs.Var(&nests, "nest", "the `nest`'s id; left out for all, and with done for the whole site's own")
	event := fs.String("event", "", "the `event`, as the list names it")
	days := fs.Int("days", choresAhead, "list so many `days` ahead")
	why := fs.Bool("why", false, "list with the days each goes by, and where they come from")
	on := fs.String("on", "", "the `day` or time it was done, today or yesterday; now where it is left out")
	asJSON := fs.Bool("json", false, "print one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig("chores", *file, std)
	if !ok {
		return exitWrongUse
	}
	d, now := call(cfg.Control).in(cfg.Site.Display), time.Now().In(cfg.location())
	var err error
	switch action {
	case "list":
		var all []taskView
		switch all, err = listChores(ctx, d, cfg, nests, *days); {
		case err != nil:
		case *asJSON:
			err = printJSON(std.out, all)
		default:
			printChores(std.out, all, now, *why)
		}
	case "done":
		at, day := time.Time{}, false // the daemon's now
		if *on != "" {
			said := ""
			if said, err = dayNamed(ctx, d, *on, cfg.location()); err != nil {
				break
			}
			if at, day, err = book.ParseTime(said, cfg.location()); err != nil {
				err = fmt.Errorf("--on: %w", err)
				break
			}
		}
		err = didChore(ctx, d, cfg, nests, book.Entry{What: book.Did, Chore: alarm.Name(*event), At: at, Day: day}, now, *asJSON, std)
	default:
		err = fmt.Errorf("action %q is unknown; write list, done or feed", action)
	}
	if err != nil {
		fmt.Fprintf(std.err, "nestmon chores: %v\n", err)
		return exitWrongUse
	}
	return exitDone
}

// listChores asks for the chores of these nests, of all where none is named.
func listChores(ctx context.Context, d *caller, cfg *config, nests []string, days int) (all []taskView, err error) {
	for _, id := range nests {
		if !cfg.has(id) {
			return nil, fmt.Errorf("nest %q is not in the configuration; write one that 'nestmon status' lists", id)
		}
	}
	if err := d.get(ctx, fmt.Sprintf("/control/chores?days=%d", days), &all); err != nil {
		return nil, err
	}
	if len(nests) > 0 {
		all = slices.DeleteFunc(all, func(t taskView) bool { return t.Nest == nil || !slices.Contains(nests, *t.Nest) })
	}
	return all, nil
}

// printChores prints what is to be done. A chore is no finding; one from warning up is among the alarms too.
func printChores(out io.Writer, all []taskView, now time.Time, why bool) {
	some := false
	for _, group := range []struct {
		state thresholds.TaskState
		title string
	}{{thresholds.Overdue, "Overdue"}, {thresholds.Today, "Today"}, {thresholds.Coming, "Coming"}} {
		begun := false
		for _, t := range all {
			if t.State != group.state {
				continue
			}
			if !begun {
				if some {
					fmt.Fprintln(out)
				}
				fmt.Fprintln(out, group.title)
				begun, some = true, true
			}
			t.print(out, now, why)
		}
	}
	if !some {
		fmt.Fprintln(out, "No chores.")
	}
}

func (t taskView) print(out io.Writer, now time.Time, why bool) {
	fmt.Fprintf(out, "  %-10s %-22s %s\n", t.place(), t.Event, t.when(now))
	fmt.Fprintf(out, "    %s\n", t.Text)
	if why && t.Rule != "" {
		fmt.Fprintf(out, "    why: %s [%s]\n", t.Rule, t.Source)
	}
}

func (t taskView) place() string {
	if t.Nest == nil {
		return "site"
	}
	return *t.Nest
}

// when says from when it is due, and how late it is.
func (t taskView) when(now time.Time) string {
	from := t.From.In(now.Location())
	text := dayAndTime(from, now)
	switch {
	case !now.Before(from):
		text = "since " + text
	case t.Daily:
		text += ", then daily"
	}
	switch {
	case t.Late == nil, t.Late.Equal(t.From):
	case t.State == thresholds.Overdue:
		text += ", late since " + dayAndTime(t.Late.In(now.Location()), now)
	default:
		text += ", late from " + dayAndTime(t.Late.In(now.Location()), now)
	}
	return text
}

// dayAndTime writes the day of a time as people say it, and its hour where it is not the day's first.
func dayAndTime(at, now time.Time) string {
	text := at.Format("Mon 2 Jan 2006")
	switch litter.Day(now, at, now.Location()) {
	case -1:
		text = "yesterday"
	case 0:
		text = "today"
	case 1:
		text = "tomorrow"
	}
	if at.Hour() == 0 && at.Minute() == 0 {
		return text
	}
	return text + at.Format(" 15:04")
}

// mark is what is said when a chore was marked done: what became of it, with the nest's name in it, and what that changes.
type mark struct{ done, changes string }

var markWords = map[alarm.Name]mark{
	alarm.BeddingDue:         {"bedding of %s is marked as changed", "the load clock begins anew, and it counts as a look"},
	alarm.VentilationDue:     {"the vents of %s are marked as cleared", "moisture is judged anew"},
	alarm.InspectDue:         {"%s is marked as looked into", "it explains that the nest was opened, and a probe that lay badly is judged anew"},
	alarm.TurnBoxDue:         {"the box of %s is marked as turned and bedded anew", "how the nest follows the weather is learned anew, and chill is judged by how the probe lies from now on"},
	alarm.RemoveBoxDue:       {"the box of %s is marked as taken out", "cold, chill and damp are no longer judged there, and no visit is missed; heat is"},
	alarm.CollectDue:         {"the kits of %s are marked as collected", "the nest is watched as before until 'nestmon litter collected' or ended is entered for it"},
	alarm.ReturnBoxDue:       {"the kits of %s are marked as nursed", "their hours without the doe begin anew; it counts as indoors until it is entered as back"},
	alarm.SeasonSetupDue:     {"the season's bedding and lining of %s are marked as done", "how the nests follow the weather is learned anew"},
	alarm.ResealToteDue:      {"%s is marked as sealed", "the years, and the days with water coming in, begin anew"},
	alarm.KindlingOverdue:    {"the doe of %s is marked as looked at", "it is asked again on the day of the veterinarian, until her kindling or the end of the litter is entered"},
	alarm.ConfirmKindlingDue: {"the kindling in %s is marked as seen", "the day from the probes stands until another is entered"},
}

// words says what was written.
func (m mark) words(place string, at, now time.Time) string {
	text := fmt.Sprintf(m.done, place) + " " + dayAndTime(at, now)
	if m.changes != "" {
		text += "; " + m.changes
	}
	return text
}

// didChore enters that a chore was done, in every nest or in none.
func didChore(ctx context.Context, d *caller, cfg *config, nests []string, did book.Entry, now time.Time, asJSON bool, std stdio) error {
	if did.Chore == "" {
		return errors.New("--event is missing; name the chore as 'nestmon chores' lists it, such as --event " + string(alarm.BeddingDue))
	}
	if len(nests) == 0 {
		nests = []string{""}
	}
	var entries []book.Entry
	for _, id := range nests {
		did.Nest = id
		entries = append(entries, did)
	}
	var saved enterAnswer
	if err := d.post(ctx, "/control/enter", entries, &saved); err != nil {
		return err
	}
	for _, doubt := range saved.Doubts {
		fmt.Fprintf(std.err, "nestmon chores: %s\n", doubt)
	}
	if asJSON {
		return printJSON(std.out, saved)
	}
	m, known := markWords[did.Chore]
	if !known {
		m.done = string(did.Chore) + " of %s is marked as done"
	}
	all, err := listChores(ctx, d, cfg, nil, int(agendaAhead.Hours()/24))
	if err != nil {
		return err
	}
	for _, e := range saved.Stored {
		fmt.Fprintf(std.out, "%s%s.\n", m.words(nestOrSite(e.Nest), e.At.In(now.Location()), now), again(all, e, now))
	}
	return nil
}

// again says when the chore of an entry is due next.
func again(all []taskView, e book.Entry, now time.Time) string {
	for _, t := range all { // the earliest first
		switch {
		case t.Event != e.Chore || (t.Nest == nil) != (e.Nest == "") || t.Nest != nil && *t.Nest != e.Nest || t.State == thresholds.Done:
		case !now.Before(t.From):
			return "; it is due all the same, " + t.when(now)
		default:
			return "; next on about " + dayAndTime(t.From.In(now.Location()), now)
		}
	}
	return ""
}
