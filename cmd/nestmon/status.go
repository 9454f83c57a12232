package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"nestmon/exporter/web"
	"nestmon/thresholds/alarm"
)

var statusCommand = command{"status", "say how the nests of the running daemon are now", runStatus}

// stateView is what the commands read of the daemon's state; package web documents all of it.
type stateView struct {
	Time    time.Time `json:"time"`
	Version string    `json:"version"`
	Synced  bool      `json:"clock_synced"`
	Outside struct {
		Values []valueView `json:"values"`
	} `json:"outside"`
	Battery struct {
		Values []valueView `json:"values"`
	} `json:"battery"`
	Nests  []nestView  `json:"nests"`
	Alarms []alarmView `json:"alarms"`
	Quiet  []alarmView `json:"quiet"`
	Sinks  []struct {
		Sink  string     `json:"sink"`
		OK    bool       `json:"ok"`
		Wrong bool       `json:"misconfigured"`
		Error string     `json:"error"`
		Last  *time.Time `json:"last_ok"`
		sinkNews
	} `json:"sinks"`
	PublishedAgo float64 `json:"published_ago_s"`
	Nobody       bool    `json:"nobody_called"`
}

type nestView struct {
	ID       string       `json:"id"`
	Stage    string       `json:"stage"`
	AgeDays  *int         `json:"age_days"`
	Values   []valueView  `json:"values"`
	Judged   []judgedView `json:"judged"`
	Severity string       `json:"severity"`
	Past     *struct {
		Where  string `json:"where"`
		Urgent bool   `json:"urgent"`
	} `json:"past_limit"`
	Learned struct {
		Text []string `json:"text"`
	} `json:"learned"`
}

type judgedView struct {
	Danger string `json:"danger"`
	Judged bool   `json:"judged"`
	Why    string `json:"why"`
}

// wetBedding is the danger that is only told: no cold night can judge it.
const wetBedding = "damp"

// waits reports whether no probe of the nest has a value and none of what kills kits is judged: no alarm then means nothing.
func (n nestView) waits() bool {
	for _, j := range n.Judged {
		if j.Judged && j.Danger != wetBedding {
			return false
		}
	}
	return len(n.Values) > 0 && !slices.ContainsFunc(n.Values, func(v valueView) bool { return v.Value != nil })
}

// alarm is the word of the nest's worst alarm, and of a limit it is past without one.
func (n nestView) alarm() string {
	if p := n.Past; p != nil {
		word := map[string]string{"above": "over the limit", "below": "under the limit"}[p.Where]
		if p.Urgent {
			word = "over the urgent limit"
		}
		if n.Severity != alarm.None.String() {
			word += ", " + n.Severity
		}
		return word
	}
	if n.Severity == alarm.None.String() && n.waits() {
		return silence(n.Values)
	}
	return n.Severity
}

// silence says how long there has been no value.
func silence(values []valueView) string {
	newest := math.Inf(1)
	for _, v := range values {
		if v.Age != nil {
			newest = min(newest, *v.Age)
		}
	}
	if math.IsInf(newest, 1) {
		return "no data yet"
	}
	return "no data for " + span((time.Duration(newest) * time.Second).Round(time.Minute))
}

// gaps says what is not judged, and what only in part.
func (n nestView) gaps() string {
	var all []string
	for _, j := range n.Judged {
		name, why := j.Danger, strings.TrimPrefix(j.Why, "not judged: ")
		if name == wetBedding {
			name = "wet bedding"
		}
		switch {
		case !j.Judged:
			all = append(all, name+": "+why)
		case why != "":
			all = append(all, name+" in part: "+why)
		}
	}
	return strings.Join(all, "; ")
}

type valueView struct {
	Role     string   `json:"role"`
	Quantity string   `json:"quantity"`
	Value    *float64 `json:"value"`
	Age      *float64 `json:"age_s"`
}

type alarmView struct {
	Nest     *string   `json:"nest"`
	Event    string    `json:"event"`
	Chore    bool      `json:"chore"`
	Alarm    bool      `json:"alarm"`
	Severity string    `json:"severity"`
	Since    time.Time `json:"since"`
	Text     string    `json:"text"`
	Rule     *string   `json:"rule"`
	Source   *string   `json:"source"`

	Status       string     `json:"status"`
	Acknowledged *time.Time `json:"acknowledged"`
	By           string     `json:"by"`
	Until        *time.Time `json:"until"`
	Over         *time.Time `json:"over"`
	Because      string     `json:"because"`
}

// alarmIndent puts what is said of an alarm under its name.
const alarmIndent = "         "

// write says the alarm and what to do.
func (a alarmView) write(w io.Writer, loc *time.Location) {
	nest := "site"
	if a.Nest != nil {
		nest = *a.Nest
	}
	fmt.Fprintf(w, "%-8s %s %s since %s%s\n", a.Severity, nest, a.Event, a.Since.In(loc).Format("2006-01-02 15:04"), a.stands(loc))
	wrap(w, alarmIndent, a.Text)
}

// stands says what people or other alarms have done about it, empty where it calls.
func (a alarmView) stands(loc *time.Location) (said string) {
	at := func(t *time.Time) string {
		if t == nil {
			return ""
		}
		return " " + t.In(loc).Format("15:04")
	}
	switch alarm.Status(a.Status) {
	case alarm.Acknowledged:
		said = ", seen" + at(a.Acknowledged)
	case alarm.Returned:
		said = ", over since" + at(a.Over) + ", not seen by anybody"
	case alarm.Shelved:
		said = ", shelved until" + at(a.Until)
	case alarm.Suppressed:
		return ", " + a.Because + " stands for it"
	case alarm.OutOfService:
		said = ", out of service"
	default:
		return ""
	}
	if a.By != "" {
		said += " (" + a.By + ")"
	}
	return said
}

// writeQuiet says what is not on and not as usual either.
func (a alarmView) writeQuiet(w io.Writer, loc *time.Location) {
	nest, event := "site", a.Event
	if a.Nest != nil {
		nest = *a.Nest
	}
	if event == "" {
		event = "every alarm"
	}
	fmt.Fprintf(w, "%s %s%s\n", nest, event, a.stands(loc))
}

// because says what the alarm rests on.
func (a alarmView) because(w io.Writer) {
	if a.Rule != nil {
		wrap(w, alarmIndent+"rule:   ", *a.Rule)
	}
	if a.Source != nil {
		wrap(w, alarmIndent+"source: ", *a.Source)
	}
}

func runStatus(ctx context.Context, args []string, std stdio) int {
	fs := flags("status", "status [--config F] [--json]", std)
	file := fs.String("config", installedConfig, "the daemon's configuration `file`")
	asJSON := fs.Bool("json", false, "print one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig("status", *file, std)
	if !ok {
		return exitWrongUse
	}
	var raw json.RawMessage
	if err := call(cfg.Control).in(cfg.Site.Display).get(ctx, "/api/state", &raw); err != nil {
		fmt.Fprintf(std.err, "nestmon status: %v\n", err)
		return exitWrongUse
	}
	var s stateView
	if err := json.Unmarshal(raw, &s); err != nil {
		fmt.Fprintf(std.err, "nestmon status: reading the daemon's answer: %v\n", err)
		return exitWrongUse
	}
	if *asJSON {
		fmt.Fprintf(std.out, "%s\n", strings.TrimSpace(string(raw)))
	} else {
		s.write(std.out, cfg)
		var set web.Settings
		if err := call(cfg.Control).in(cfg.Site.Display).get(ctx, "/api/settings", &set); err != nil {
			fmt.Fprintf(std.err, "nestmon status: which limits are set on the page is not known: %v\n", err)
		}
		writeSet(std.out, set)
	}
	for _, a := range s.Alarms {
		if a.Alarm {
			return exitFinding
		}
	}
	if slices.ContainsFunc(s.Nests, func(n nestView) bool { return n.waits() || n.Past != nil && n.Past.Urgent }) {
		return exitFinding
	}
	return exitDone
}

func (s stateView) write(out io.Writer, cfg *config) {
	loc := cfg.location()
	fmt.Fprintf(out, "%s, %s", cfg.Site.Name, s.Time.In(loc).Format("2006-01-02 15:04"))
	if old := time.Duration(s.PublishedAgo) * time.Second; old > 3*cfg.Poll {
		fmt.Fprintf(out, " (%s ago: the daemon has not polled since)", old)
	}
	if s.Version != "" {
		fmt.Fprintf(out, ", nestmon %s", s.Version)
	}
	fmt.Fprintln(out)
	if !s.Synced {
		fmt.Fprintf(out, "clock    has not been set since the board started: this time, days of litters and times of alarms may be wrong; %s\n", setClock)
	}
	fmt.Fprintln(out)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "nest\tlitter\tcluster\tair\thumidity\talarm\tnot judged, or in part")
	for _, n := range s.Nests {
		litter := n.Stage
		if n.AgeDays != nil && *n.AgeDays >= 0 {
			litter = fmt.Sprintf("day %d", *n.AgeDays)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", n.ID, litter, show(n.Values, cfg, "cluster", "temperature"), show(n.Values, cfg, "air", "temperature"),
			show(n.Values, cfg, "air", "humidity"), n.alarm(), n.gaps())
	}
	fmt.Fprintf(w, "outside\t\t\t%s\t%s\n", show(s.Outside.Values, cfg, "outside", "temperature"), show(s.Outside.Values, cfg, "outside", "humidity"))
	_ = w.Flush()
	switch values := s.Battery.Values; {
	case len(values) > 0 && !slices.ContainsFunc(values, func(v valueView) bool { return v.Value != nil }):
		fmt.Fprintf(out, "battery  %s\n", silence(values))
	case len(values) > 0:
		fmt.Fprintf(out, "battery  %s, %s\n", show(values, cfg, "battery", "voltage"), show(values, cfg, "battery", "current"))
	}
	fmt.Fprintln(out)
	s.writeNobody(out)
	for _, a := range s.Alarms {
		a.write(out, loc)
	}
	for _, n := range s.Nests {
		if len(n.Learned.Text) > 0 {
			fmt.Fprintf(out, "learned  %s: %s\n", n.ID, strings.Join(n.Learned.Text, "\n         "))
		}
	}
	var sent []string
	for _, sink := range s.Sinks {
		when := "nothing yet"
		if sink.Last != nil {
			when = sink.Last.In(loc).Format("2006-01-02 15:04")
		}
		sent = append(sent, sink.Sink+" "+when)
	}
	if len(sent) > 0 {
		fmt.Fprintf(out, "sent     %s\n", strings.Join(sent, ", "))
	}
	for _, sink := range s.Sinks {
		switch {
		case sink.OK || sink.Error == "":
		case sink.Wrong:
			fmt.Fprintf(out, "set up wrongly  %s: %s\n", sink.Sink, strings.TrimPrefix(sink.Error, sink.Sink+": "))
		default:
			fmt.Fprintf(out, "failing  %s: %s\n", sink.Sink, strings.TrimPrefix(sink.Error, sink.Sink+": "))
		}
		sink.write(out, sink.Sink, s.Time, loc)
	}
}

// writeNobody says that no alarm calls anybody, as check does.
func (s stateView) writeNobody(out io.Writer) {
	if s.Nobody {
		fmt.Fprintf(out, "NOBODY   %s\n", nobodyCalled)
	}
}

// writeSet says that limits of the page are in force, or should be.
func writeSet(out io.Writer, set web.Settings) {
	if set.Wrong != "" {
		fmt.Fprintf(out, "limits   %s\n", set.Wrong)
	}
	n, all := 0, 0
	for _, row := range set.Limits {
		all += len(row.Limits)
		for _, l := range row.Limits {
			if l.Origin == web.FromPage {
				n++
			}
		}
	}
	if n > 0 {
		fmt.Fprintf(out, "limits   %d of %d are set on the page, over the configuration; nestmon check lists them\n", n, all)
	}
	for _, a := range set.Aside {
		fmt.Fprintf(out, "limits   %s %s of days %d-%d, set on the page, is not in force: %s\n", a.Place, a.Key, a.From, a.To, a.Why)
	}
}

// show writes a value in the site's unit, or a dash where there is none to act on.
func show(values []valueView, cfg *config, role, quantity string) string {
	for _, v := range values {
		if v.Role != role || v.Quantity != quantity || v.Value == nil {
			continue
		}
		switch {
		case quantity == "humidity":
			return fmt.Sprintf("%.0f %%", *v.Value)
		case quantity == "voltage":
			return fmt.Sprintf("%.1f V", *v.Value)
		case quantity == "current":
			return fmt.Sprintf("%.2f A", *v.Value)
		case cfg.Site.Display == "fahrenheit":
			return fmt.Sprintf("%.1f °F", toFahrenheit(*v.Value))
		}
		return fmt.Sprintf("%.1f °C", *v.Value)
	}
	return "-"
}
