package phone

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

// maxTitle is the longest title in characters: what a locked phone shows of a message, roughly. Ours, no source.
const maxTitle = 180

// Writer puts calls into words.
type Writer struct {
	Display string         // fahrenheit or celsius: the unit that comes first; both are always there
	Zone    *time.Location // of times of day
	Site    string         // the rabbitry's name
	Config  Config
	Link    func(id string) string // where a message is answered; nil or an empty result where it cannot be
}

// kinds says what each call is as a message.
var kinds = map[calls.Why]exporter.Kind{
	calls.Began: exporter.Alarm, calls.Worse: exporter.Alarm, calls.Ended: exporter.Alarm, calls.Happened: exporter.Alarm,
	calls.Again: exporter.Repeat, calls.Storm: exporter.Storm, calls.Waited: exporter.Digest, calls.AllWell: exporter.AllWell,
}

// Write makes the message of a call. How things stand is told by some of them; now is when the call was decided on.
func (w Writer) Write(c calls.Call, now time.Time, s thresholds.Snapshot) exporter.Message {
	m := exporter.Message{Time: now, Kind: kinds[c.Why], To: w.Config.ChannelsOf(c.To)}
	if len(c.About) > 0 {
		m.Event = c.About[0]
	}
	if len(c.About) > 1 {
		m.About = c.About
	}
	var title, body string
	switch c.Why {
	case calls.Again:
		title, body = w.again(c)
	case calls.Storm:
		title, body = w.storm(c)
		if len(c.About) == 0 { // all over
			m.Event = c.First
			m.Event.State, m.Event.Severity = alarm.Cleared, alarm.Warning
		}
	case calls.Waited:
		title, body = w.digest(c)
		for _, e := range c.About {
			if e.Severity > m.Event.Severity {
				m.Event = e
			}
		}
	case calls.AllWell:
		title, body = w.standing(s)
	default:
		title, body = w.title(m.Event), w.body(m.Event)
	}
	m.ID = id(c, now)
	if answerable(c) && w.Link != nil {
		if m.Link = w.Link(m.ID); m.Link != "" {
			body += "\n\nTap once and say that you are on it:\n" + m.Link
		}
	}
	m.Title, m.Body = shorten(strings.Join(strings.Fields(title), " "), maxTitle), body
	return m
}

// answerable reports whether there is anything to acknowledge.
func answerable(c calls.Call) bool {
	for _, e := range c.About {
		if e.State == alarm.Raised && c.Why != calls.Waited {
			return true
		}
	}
	return false
}

// id is the same for the same call, whoever writes it and how often.
func id(c calls.Call, now time.Time) string {
	parts := []string{string(c.Why), strconv.Itoa(c.Number)}
	if c.Why != calls.Began && c.Why != calls.Worse && c.Why != calls.Ended && c.Why != calls.Happened {
		parts = append(parts, now.UTC().Format(time.RFC3339Nano))
	}
	for _, e := range append(c.About, c.Over...) {
		parts = append(parts, e.Time.UTC().Format(time.RFC3339Nano), e.Nest, string(e.Name), string(e.State), e.Severity.String())
	}
	sum := sha256.Sum256([]byte(strings.Join(parts, "\x00")))
	return hex.EncodeToString(sum[:16])
}

// again is about what nobody has acknowledged.
func (w Writer) again(c calls.Call) (title, body string) {
	first := c.About[0]
	head := fmt.Sprintf("STILL URGENT, call %d, nobody has answered: ", c.Number+1)
	title = head + w.what(first)
	if more := len(c.About) - 1; more > 0 {
		title = fmt.Sprintf("%s%d alarms at %s; %s", head, len(c.About), nests(c.About), w.what(first))
	}
	for i, e := range c.About {
		if i > 0 {
			body += "\n\n"
		}
		body += w.body(e)
	}
	if len(c.Fresh) > 0 {
		body = fmt.Sprintf("You are called because nobody has answered so far.\n\n%s", body)
	}
	return title, body
}

// mostListed is how many alarms of a storm or digest are written out. Ours, no source: some screens of a phone.
const mostListed = 40

func (w Writer) storm(c calls.Call) (title, body string) {
	urgent := 0
	for _, e := range c.About {
		if e.Severity == alarm.Urgent {
			urgent++
		}
	}
	switch {
	case len(c.About) == 0:
		title = fmt.Sprintf("over: %d alarms at %s", len(c.Over), nests(c.Over))
	case urgent > 0:
		title = fmt.Sprintf("URGENT: %d alarms at %s, %d urgent; worst: %s", len(c.About), nests(c.About), urgent, w.what(c.About[0]))
	default:
		title = fmt.Sprintf("WARNING: %d alarms at %s; worst: %s", len(c.About), nests(c.About), w.what(c.About[0]))
	}
	var lines []string
	if c.First.Name != "" {
		lines = append(lines, "Many alarms at once are told in one message. Look first for one cause: weather, power, a bus. The first was "+w.what(c.First)+".")
	}
	lines = append(lines, w.listed(c.About)...)
	if len(c.Over) > 0 && len(c.About) > 0 {
		lines = append(lines, fmt.Sprintf("Over since the last message: %d.", len(c.Over)))
	}
	lines = append(lines, w.listed(c.Over)...)
	if len(c.About) > 0 {
		lines = append(lines, "", w.body(c.About[0]))
	}
	return title, strings.Join(lines, "\n")
}

// digest tells what could wait.
func (w Writer) digest(c calls.Call) (title, body string) {
	counts := [alarm.Urgent + 1]int{}
	for _, e := range c.About {
		counts[e.Severity]++
	}
	var said []string
	for severity := alarm.Urgent; severity > alarm.None; severity-- {
		if n := counts[severity]; n > 0 {
			said = append(said, plural(n, severity.String()))
		}
	}
	title = "waited: " + strings.Join(said, ", ") + ": " + w.what(c.About[0])
	if len(c.About) > 1 {
		title += fmt.Sprintf(", and %d more", len(c.About)-1)
	}
	lines := []string{"What could wait, in the order in which it came:"}
	if c.Number > 0 {
		lines = append(lines, fmt.Sprintf("%d older ones are not listed; look at the page.", c.Number))
	}
	for i, e := range c.About {
		if i == mostListed {
			lines = append(lines, fmt.Sprintf("and %d more; look at the page.", len(c.About)-i))
			break
		}
		lines = append(lines, "", e.Severity.String()+": "+w.what(e))
		if e.Text != "" && e.State != alarm.Cleared {
			lines = append(lines, e.Text)
		}
	}
	return title, strings.Join(lines, "\n")
}

// standing tells how things stand: what is watched, what is not, and what is on.
func (w Writer) standing(s thresholds.Snapshot) (title, body string) {
	var blind, out, on []string
	for _, n := range s.Nests {
		for _, j := range n.Judged {
			if !j.Judged {
				blind = append(blind, fmt.Sprintf("nest %s, %s: %s", n.ID, j.Danger, j.Why))
			}
		}
	}
	unwatched := map[string]bool{}
	for _, n := range s.Nests {
		for _, j := range n.Judged {
			unwatched[n.ID] = unwatched[n.ID] || !j.Judged
		}
	}
	dark := 0
	for _, yes := range unwatched {
		if yes {
			dark++
		}
	}
	for _, st := range append(s.Alarms[:len(s.Alarms):len(s.Alarms)], s.Quiet...) {
		switch {
		case st.Status == alarm.OutOfService, st.Status == alarm.Shelved:
			out = append(out, fmt.Sprintf("%s %s: %s", place(st.Event), plainOrAll(st.Name), st.Status))
		case st.On() && thresholds.Alarming(st.Event):
			on = append(on, w.what(st.Event))
		}
	}
	head := "all well"
	if len(on) > 0 || len(out) > 0 || dark > 0 {
		head = "how things stand"
	}
	title = fmt.Sprintf("%s: %s, %d of them not fully watched, %s on", head, plural(len(s.Nests), "nest"), dark, plural(len(on), "alarm"))
	if dark == 0 {
		title = fmt.Sprintf("%s: %s watched, %s on", head, plural(len(s.Nests), "nest"), plural(len(on), "alarm"))
	}
	if len(out) > 0 {
		title += fmt.Sprintf(", %d without calls", len(out))
	}
	lines := []string{w.Site + " is awake and watching. When this message does not come one day, look whether nestmon still runs."}
	for _, part := range []struct {
		head string
		rows []string
	}{{"Alarms that are on:", on}, {"Nobody is called for:", out}, {"Not watched now:", blind}} {
		if len(part.rows) > 0 {
			lines = append(lines, "", part.head)
			lines = append(lines, part.rows...)
		}
	}
	return title, strings.Join(lines, "\n")
}

func plainOrAll(name alarm.Name) string {
	if name == "" {
		return "all alarms"
	}
	return name.Plain()
}

func (w Writer) listed(all []alarm.Event) (lines []string) {
	for i, e := range all {
		if i == mostListed {
			return append(lines, fmt.Sprintf("and %d more; look at the page.", len(all)-i))
		}
		lines = append(lines, e.Severity.String()+": "+w.what(e))
	}
	return lines
}

// nests names the nests of some alarms, or counts them where they are many.
func nests(all []alarm.Event) string {
	var names []string
	seen := map[string]bool{}
	for _, e := range all {
		if name := e.Nest; !seen[name] {
			seen[name] = true
			if name == "" {
				name = "the site"
			}
			names = append(names, name)
		}
	}
	if len(names) > 4 {
		return fmt.Sprintf("%d nests", len(names))
	}
	return strings.Join(names, ", ")
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

func (w Writer) units() units { return units{fahrenheitFirst: w.Display != "celsius"} }

func (w Writer) title(e alarm.Event) string {
	t := strings.ToUpper(e.Severity.String())
	if e.State == alarm.Cleared {
		t = "over"
	}
	return t + ": " + w.what(e)
}

// what says nest, what, value and limit, and since when.
func (w Writer) what(e alarm.Event) string {
	u, t := w.units(), place(e)+" "+e.Name.Plain()
	counts := e.State != alarm.Cleared || e.Unit != hoursUnit // what counts time is back at nothing when it is over
	if e.HasValue && counts {
		t += ", " + u.write(e.Value, e.Unit)
	}
	if e.HasLimit && e.HasValue && counts && e.State == alarm.Raised {
		t += ", limit " + u.write(e.Limit, e.Unit)
	}
	switch {
	case e.State == alarm.Cleared:
		t += ", " + clockTime(e.Since, e.Time, w.zone()) + " to " + clockTime(e.Time, e.Time, w.zone())
	case !e.Since.IsZero() && e.State == alarm.Raised:
		t += ", since " + clockTime(e.Since, e.Time, w.zone())
	}
	return strings.Join(strings.Fields(t), " ")
}

func (w Writer) zone() *time.Location {
	if w.Zone == nil {
		return time.UTC
	}
	return w.Zone
}

func place(e alarm.Event) string {
	if e.Nest == "" {
		return "site:"
	}
	return "nest " + e.Nest + ":"
}

func (w Writer) body(e alarm.Event) string {
	u := w.units()
	var lines []string
	add := func(format string, args ...any) { lines = append(lines, fmt.Sprintf(format, args...)) }
	if e.Text != "" {
		add("%s", e.Text)
	}
	if e.HasValue {
		add("Value: %s", u.write(e.Value, e.Unit))
	}
	if e.HasLimit {
		add("Limit: %s", u.write(e.Limit, e.Unit))
	}
	if e.Probe != "" {
		add("Probe: %s", e.Probe)
	}
	if !e.Since.IsZero() {
		add("Since: %s", e.Since.In(w.zone()).Format("Mon 2 Jan 15:04"))
	}
	if e.State == alarm.Cleared {
		add("Over: %s, was %s", e.Time.In(w.zone()).Format("Mon 2 Jan 15:04"), e.Severity)
	}
	if e.Rule != "" && e.State == alarm.Raised {
		add("Rule: %s", e.Rule)
	}
	if len(lines) == 0 {
		add("%s", e.Name)
	}
	return strings.Join(lines, "\n")
}

// clockTime is the time of day, with the date where it is another day than now.
func clockTime(t, now time.Time, loc *time.Location) string {
	t, now = t.In(loc), now.In(loc)
	if t.YearDay() == now.YearDay() && t.Year() == now.Year() {
		return t.Format("15:04")
	}
	return t.Format("Mon 2 Jan 15:04")
}

// shorten cuts s to at most n characters.
func shorten(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n-1]) + "…"
}

const (
	hoursUnit = "h" // the unit of events about a length of time

	// inMinutes is the length in hours under which one is written in minutes. Ours, no source.
	inMinutes = 2
)

// duration writes a length of time that is given in hours.
func duration(hours float64) string {
	minutes := math.Round(hours * 60)
	switch {
	case hours >= inMinutes:
		return strconv.FormatFloat(hours, 'f', 1, 64) + " h"
	case minutes < 1:
		return "under 1 min"
	}
	return strconv.FormatFloat(minutes, 'f', 0, 64) + " min"
}

// units writes values with their unit.
type units struct{ fahrenheitFirst bool }

func (u units) write(v float64, unit string) string {
	n := func(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }
	switch unit {
	case "C":
		celsius, fahrenheit := n(v, 1)+" °C", n(v*9/5+32, 1)+" °F"
		if u.fahrenheitFirst {
			return fahrenheit + " (" + celsius + ")"
		}
		return celsius + " (" + fahrenheit + ")"
	case "%":
		return n(v, 0) + " %"
	case "ppm":
		return n(v, 0) + " ppm"
	case hoursUnit:
		return duration(v)
	case "g/m3":
		return n(v, 1) + " g/m³"
	}
	return strings.TrimSpace(n(v, 1) + " " + unit)
}
