package main

import (
	"context"
	"flag"
	"fmt"
	"slices"
	"strings"
	"time"

	"nestmon/thresholds/book"
)

var litterCommand = command{"litter", "list and write the litter book of the running daemon", runLitter}

// litterAction is one word after 'nestmon litter': its help, its flags and what it does.
type litterAction struct {
	name, does string
	takes      string                                     // what stands after the word, without a flag
	places     bool                                       // --nest and --litter say which litter
	what       book.What                                  // of the entry it makes; its form says which flags there are
	called     map[book.Field]string                      // flags with another name than their column; "" for none
	flags      func(c *litterCall)                        // further ones
	run        func(*litterCall) error                    // enters what was said where it is nil
	alone      func(context.Context, []string, stdio) int // in place of all this: a command of its own
}

// litterCall is an action under way.
type litterCall struct {
	ctx    context.Context
	action litterAction
	std    stdio
	fs     *flag.FlagSet
	cfg    *config
	door   *caller
	arg    string // what stands after the word
	json   bool

	nest, litter string
	said         map[book.Field]string // what the flags say, by column
	all, dry     bool
	from, to     string
	out          string
}

// litterActions in the order of the help.
func litterActions() []litterAction {
	born := map[book.Field]string{book.KitsField: "born"}
	return []litterAction{
		{name: "list", does: "the open litters; with --all every litter", flags: flagAll, run: listLitters},
		{name: "show", does: "all that was written about one litter, what was corrected too", places: true, run: showLitter},
		{name: "doe", does: "what became of a doe's litters", takes: "NAME", run: showDoe},
		{name: "nest", does: "what happened in a nest", takes: "ID", run: showNest},
		{name: "partners", does: "litters to which kits can be fostered: born within three days", places: true, run: showPartners},
		{name: "bred", does: "she was bred: a new litter", what: book.Bred},
		{name: "palpated", does: "she was felt for kits", what: book.Palpated},
		{name: "box-in", does: "the box is in, bedded", what: book.BoxIn},
		{name: "kindled", does: "she kindled", what: book.Kindled, called: born},
		{name: "confirm", does: "the kindling that the daemon noticed, at the time it did", what: book.Kindled, called: map[book.Field]string{book.KitsField: "born", book.TheTime: ""}, run: confirm},
		{name: "did-not-kindle", does: "she did not; the nest is free", what: book.DidNotKindle},
		{name: "lost", does: "kits died or are gone", what: book.Lost},
		{name: "foster", does: "kits go from one nest to another", flags: flagFoster, run: foster},
		{name: "weighed", does: "kits were weighed, all together", what: book.Weighed},
		{name: "moved", does: "the litter lies in another nest", what: book.Moved},
		{name: "collected", does: "taken out of the nest, into a pen or cage --to, counted and looked at", what: book.Collected},
		{name: "weaned", does: "taken from the doe; the litter is closed, and its nest no longer watched for it", what: book.Weaned},
		{name: "sold", does: "kits were sold", what: book.Sold},
		{name: "kept", does: "kits are kept", what: book.Kept},
		{name: "ended", does: "the kits are gone in another way; closed and no longer watched, as weaned", what: book.Ended},
		{name: "carry-in", does: "the nest is indoors for the night", what: book.CarriedIn},
		{name: "carry-out", does: "and out again", what: book.CarriedOut},
		{name: "note", does: "anything else", what: book.Noted},
		{name: "correct", does: "what is given changes; the earlier entry is kept", takes: "ENTRY", flags: flagCorrect, run: correct},
		{name: "strike", does: "takes an entry back; it is kept, and no longer counts", takes: "ENTRY", flags: flagNote, run: strike},
		{name: "report", does: "what became of a litter beside what was measured: one page", alone: runReport},
		{name: "outcomes", does: "what became of kits, by nest, kind, season, bedding, doe or buck", alone: runOutcomes},
		{name: "held", does: "how much warmer than outside the nests were", alone: runHeld},
		{name: "import", does: "adds the rows of a CSV file, all or none", takes: "FILE", flags: flagDry, run: importLitters},
		{name: "export", does: "the whole book as CSV", flags: flagOut, run: exportLitters},
	}
}

const litterUsage = `litter [ACTION] [flags]
%sWhich litter: --nest N, or --litter NUMBER. When: --on 2031-04-03, a time such as 2031-04-03T06:30, today or yesterday; now where it is left out.
'nestmon litter ACTION -h' lists the flags of each.`

func litterHelp() string {
	lines := ""
	for _, a := range litterActions() {
		lines += fmt.Sprintf("  %-15s %s\n", strings.TrimSpace(a.name+" "+a.takes), a.does)
	}
	return fmt.Sprintf(litterUsage, lines)
}

func runLitter(ctx context.Context, args []string, std stdio) int {
	name := "list"
	if len(args) > 0 && args[0] != "" && args[0][0] != '-' {
		name, args = args[0], args[1:]
	} else if len(args) > 0 && (args[0] == "-h" || args[0] == "--help") {
		name = "help"
	}
	if name == "help" {
		fmt.Fprintf(std.out, "usage: nestmon %s\n", litterHelp())
		return exitDone
	}
	all := litterActions()
	at := slices.IndexFunc(all, func(a litterAction) bool { return a.name == name })
	if at < 0 {
		fmt.Fprintf(std.err, "nestmon litter: action %q is unknown; 'nestmon litter -h' lists them\n", name)
		return exitWrongUse
	}
	if all[at].alone != nil {
		return all[at].alone(ctx, args, std)
	}
	c := &litterCall{ctx: ctx, action: all[at], std: std, said: map[book.Field]string{}}
	return c.start(args)
}

// start reads the flags and does it.
func (c *litterCall) start(args []string) int {
	a := c.action
	name := "litter " + a.name
	c.fs = flags(name, strings.TrimSpace(name+" "+a.takes)+" [flags]\n  "+a.does, c.std)
	file := c.fs.String("config", installedConfig, "the daemon's configuration `file`")
	c.fs.BoolVar(&c.json, "json", false, "print one JSON value")
	if a.what != "" || a.places {
		c.fs.StringVar(&c.nest, "nest", "", "the `nest`'s id")
		c.fs.StringVar(&c.litter, "litter", "", "the litter's `number`, in place of the nest")
	}
	if a.what != "" {
		c.flag(book.TheTime)
		for _, f := range slices.Concat(book.Forms[a.what].Must, book.Forms[a.what].May, []book.Field{book.TheNote}) {
			c.flag(f)
		}
	}
	if a.flags != nil {
		a.flags(c)
	}
	if a.takes != "" && len(args) > 0 && !strings.HasPrefix(args[0], "-") {
		c.arg, args = args[0], args[1:]
	}
	if code, ok := parse(c.fs, args); !ok {
		return code
	}
	if a.takes != "" && c.arg == "" {
		fmt.Fprintf(c.std.err, "nestmon %s: the %s is missing; write it as 'nestmon %s %s'\n", name, strings.ToLower(a.takes), name, a.takes)
		return exitWrongUse
	}
	var ok bool
	if c.cfg, ok = openConfig(name, *file, c.std); !ok {
		return exitWrongUse
	}
	c.door = call(c.cfg.Control)
	if err := c.resolve(); err != nil {
		fmt.Fprintf(c.std.err, "nestmon %s: %v\n", name, err)
		return exitWrongUse
	}
	run := a.run
	if run == nil {
		run = enterSaid
	}
	if err := run(c); err != nil {
		fmt.Fprintf(c.std.err, "nestmon %s: %v\n", name, err)
		return exitWrongUse
	}
	return exitDone
}

// notSaid is what no flag says: the daemon knows it, or other flags do.
var notSaid = []book.Field{book.InLitter, book.InNest, book.TheKind, book.TheSeason, book.Earlier, book.TheChore}

// flag adds the flag of a column.
func (c *litterCall) flag(f book.Field) {
	name, renamed := c.action.called[f]
	if !renamed {
		name = string(f)
	}
	column, _ := book.ColumnOf(f)
	if name == "" || slices.Contains(notSaid, f) || c.fs.Lookup(name) != nil {
		return
	}
	c.fs.Func(name, column.Help, func(text string) error {
		c.said[f] = text
		if _, named := namedDays[text]; text == "" || named && f == book.TheTime {
			return nil
		}
		return column.Set(&book.Entry{}, text, time.UTC) // read again in the site's zone; whether it can be read does not depend on it
	})
}

// namedDays are the days that have names, and how long ago they are.
var namedDays = map[string]int{"today": 0, "yesterday": 1}

// resolve writes the dates of named days.
func (c *litterCall) resolve() (err error) {
	if text, said := c.said[book.TheTime]; said {
		c.said[book.TheTime], err = dayNamed(c.ctx, c.door, text, c.cfg.location())
	}
	return err
}

// dayNamed is the date of a named day by the daemon's time, where that is known, and any other text as it is.
func dayNamed(ctx context.Context, daemon *caller, text string, loc *time.Location) (string, error) {
	ago, named := namedDays[text]
	if !named {
		return text, nil
	}
	var s stateView
	if err := daemon.get(ctx, "/api/state", &s); err != nil {
		return "", err
	}
	if !s.Synced {
		return "", errNoToday
	}
	now := s.Time.Add(time.Duration(s.PublishedAgo * float64(time.Second)))
	return now.In(loc).AddDate(0, 0, -ago).Format(time.DateOnly), nil
}

// flagName is what the person calls a column.
func (c *litterCall) flagName(f book.Field) string {
	if name, ok := c.action.called[f]; ok {
		return name
	}
	return string(f)
}

// entry is what the flags say.
func (c *litterCall) entry() (book.Entry, error) {
	e := book.Entry{What: c.action.what}
	for _, column := range book.Columns {
		text, ok := c.said[column.Name]
		if !ok {
			continue
		}
		if err := column.Set(&e, text, c.cfg.location()); err != nil {
			return e, fmt.Errorf("--%s: %w", c.flagName(column.Name), err)
		}
	}
	return e, nil
}
