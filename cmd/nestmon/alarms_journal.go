package main

import (
	"context"
	"fmt"
	"io"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"
	"unicode"

	"nestmon/thresholds/alarm"
)

// What is asked of the past: a week to read through, four weeks to judge by, a year at most; ours, no source.
const (
	journalDays = 7
	qualityDays = 28
	mostDays    = 366
	// mostPast is how many events, and how many acts, are read at most: some 20 MB while they are. The newest are kept.
	mostPast = 20000
	// mostLines is how many lines of the journal are sent; the newest are kept.
	mostLines = 5000
)

// pastFlags are what the commands about past alarms share.
type pastFlags struct {
	file         *string
	days         *int
	nest         *string
	asJSON       *bool
	name, answer string
}

// ask asks the daemon and returns its configuration's place and zone with the answer.
func (p *pastFlags) ask(ctx context.Context, more url.Values, into any, std stdio) (*config, bool) {
	if *p.days < 1 || *p.days > mostDays {
		fmt.Fprintf(std.err, "nestmon %s: --days %d is out of range; write 1 to %d\n", p.name, *p.days, mostDays)
		return nil, false
	}
	cfg, ok := openConfig(p.name, *p.file, std)
	if !ok {
		return nil, false
	}
	more.Set("days", strconv.Itoa(*p.days))
	if err := call(cfg.Control).in(cfg.Site.Display).get(ctx, p.answer+"?"+more.Encode(), into); err != nil {
		fmt.Fprintf(std.err, "nestmon %s: %v\n", p.name, err)
		return nil, false
	}
	return cfg, true
}

func runJournal(ctx context.Context, args []string, std stdio) int {
	fs := flags("alarms journal", "alarms journal [--config F] [--days N] [--nest N] [--json]", std)
	p := pastFlags{
		file: fs.String("config", installedConfig, "the daemon's configuration `file`"), days: fs.Int("days", journalDays, "how many `days` back"),
		nest: fs.String("nest", "", "the `nest`'s id; left out for all and for the whole site's own"), asJSON: fs.Bool("json", false, "print one JSON value"),
		name: "alarms journal", answer: "/control/journal",
	}
	if code, ok := parse(fs, args); !ok {
		return code
	}
	all := []entry{}
	cfg, ok := p.ask(ctx, url.Values{"nest": {*p.nest}}, &all, std)
	if !ok {
		return exitWrongUse
	}
	if *p.asJSON {
		if err := printJSON(std.out, all); err != nil {
			return exitWrongUse
		}
		return exitDone
	}
	if len(all) == 0 {
		fmt.Fprintln(std.out, "Nothing was raised and nothing done.")
	}
	writeJournal(std.out, all, cfg.location())
	return exitDone
}

// entry is one line of the journal: a change of an alarm, or what a person did about it.
type entry struct {
	Time     time.Time      `json:"time"`
	Nest     string         `json:"nest"`  // empty for the site's own
	Event    alarm.Name     `json:"event"` // empty for every alarm of the nest
	State    alarm.State    `json:"state,omitempty"`
	Severity alarm.Severity `json:"severity,omitempty"`
	Since    time.Time      `json:"since,omitzero"`
	Value    *float64       `json:"value,omitempty"`
	Limit    *float64       `json:"limit,omitempty"`
	Unit     string         `json:"unit,omitempty"`
	Action   alarm.Action   `json:"action,omitempty"` // of a person
	By       string         `json:"by,omitempty"`
	For      float64        `json:"for_s,omitempty"`
	What     string         `json:"what,omitempty"` // of a change of limits
}

func entryOf(e alarm.Event) entry {
	line := entry{Time: e.Time, Nest: e.Nest, Event: e.Name, State: e.State, Severity: e.Severity, Since: e.Since, Unit: e.Unit}
	if e.HasValue {
		line.Value = &e.Value
	}
	if e.HasLimit {
		line.Limit = &e.Limit
	}
	return line
}

// days reads how many days back a request asks for.
func days(text string) (int, error) {
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > mostDays {
		return 0, fmt.Errorf("days=%s is out of range; write 1 to %d", text, mostDays)
	}
	return n, nil
}

// past reads what was raised and what was done about it, the oldest first. It may begin later than from, where there is too much.
func (d *daemon) past(from, to time.Time) (begin time.Time, events []alarm.Event, acts []alarm.Act, err error) {
	if events, err = d.archive.Events(from, to, mostPast); err != nil {
		return from, nil, nil, fmt.Errorf("reading past events: %w", err)
	}
	if acts, err = d.archive.Acts(from, to, mostPast); err != nil {
		return from, nil, nil, fmt.Errorf("reading what was done: %w", err)
	}
	slices.Reverse(events)
	slices.Reverse(acts)
	for i := range events {
		events[i].Text, events[i].Rule, events[i].Source = "", "", ""
	}
	if len(events) == mostPast {
		from = events[0].Time
	}
	if len(acts) == mostPast && acts[0].At.After(from) {
		from = acts[0].At
	}
	return from, events, acts, nil
}

// journal lists the last days, the newest line last; an empty nest means all.
func (d *daemon) journal(daysBack, nest string) ([]entry, error) {
	n, err := days(daysBack)
	if err != nil {
		return nil, err
	}
	if nest != "" && !slices.ContainsFunc(d.cfg.Nests, func(c nestConfig) bool { return c.ID == nest }) {
		return nil, fmt.Errorf("nest %q is not in the configuration; write one that 'nestmon status' lists", nest)
	}
	now := d.pace.Now()
	from, events, acts, err := d.past(now.AddDate(0, 0, -n), now.Add(time.Minute))
	if err != nil {
		return nil, err
	}
	all := []entry{}
	for _, e := range events {
		all = append(all, entryOf(e))
	}
	for _, a := range acts {
		all = append(all, entry{Time: a.At, Nest: a.Nest, Event: a.Event, Action: a.Action, By: a.By, For: a.For.Seconds(), What: a.What})
	}
	all = slices.DeleteFunc(all, func(e entry) bool { return nest != "" && e.Nest != nest || e.Time.Before(from) })
	slices.SortStableFunc(all, func(a, b entry) int { return a.Time.Compare(b.Time) })
	return all[max(len(all)-mostLines, 0):], nil
}

func writeJournal(out io.Writer, all []entry, loc *time.Location) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, e := range all {
		nest, event := e.Nest, string(e.Event)
		if nest == "" {
			nest = "site"
		}
		switch {
		case e.Action == alarm.SetLimits:
			event = "limits"
		case event == "":
			event = "all alarms"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\n", e.Time.In(loc).Format("2006-01-02 15:04"), nest, event, e.what())
	}
	_ = w.Flush()
}

var deeds = map[alarm.Action]string{
	alarm.Acknowledge: "acknowledged", alarm.Shelve: "shelved", alarm.Unshelve: "taken off its shelf", alarm.TakeOut: "taken out of service", alarm.PutBack: "put back in service",
}

// what says what happened, in a few words.
func (e *entry) what() string {
	switch {
	case e.Action == alarm.SetLimits:
		return plain(e.What) + " by " + plain(e.By)
	case e.Action != "":
		did := deeds[e.Action]
		if did == "" {
			did = string(e.Action)
		}
		if e.For > 0 {
			did += " for " + span(time.Duration(e.For)*time.Second)
		}
		return did + " by " + plain(e.By)
	case e.State == alarm.Cleared:
		return "over after " + span(e.Time.Sub(e.Since).Round(time.Minute))
	case e.State == alarm.Noted:
		return "noted"
	}
	said := e.Severity.String()
	if e.Value != nil {
		said += ", " + withUnit(*e.Value, e.Unit)
	}
	if e.Limit != nil {
		said += ", limit " + withUnit(*e.Limit, e.Unit)
	}
	return said
}

func withUnit(v float64, unit string) string {
	number := strconv.FormatFloat(v, 'f', 1, 64)
	switch unit {
	case "C":
		return fmt.Sprintf("%s °C (%.1f °F)", number, toFahrenheit(v))
	case "h":
		d := time.Duration(v * float64(time.Hour)).Round(time.Second)
		if d >= time.Hour {
			d = d.Round(time.Minute)
		}
		return span(d)
	case "":
		return number
	}
	return number + " " + unit
}

// plain takes out what could move a terminal's cursor: who did something may be a name that came over the network.
func plain(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return -1
	}, s)
	if s == "" {
		return "somebody"
	}
	return s
}
