package phone

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"nestmon/exporter"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

// Ours, no source.
const (
	maxTitle   = 180 // characters: what a locked phone shows of a message, roughly
	mostListed = 40  // alarms of a storm or digest that are listed: some screens of a phone
	mostWhole  = 3   // alarms of a repeat that are explained; more are listed, and the worst is explained
)

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
	m := exporter.Message{ID: id(c, now), Time: now, Kind: kinds[c.Why], To: w.Config.ChannelsOf(c.To)}
	all := slices.Concat(c.About, c.Over)
	if len(all) > 1 {
		m.About = all
	}
	if len(all) > 0 {
		m.Event = worst(all)
	}
	p := page{w, now}
	var title string
	var body []string
	switch c.Why {
	case calls.Again:
		title, body = p.again(c)
	case calls.Storm:
		title, body = p.storm(c)
	case calls.Waited:
		title, body = p.digest(c)
	case calls.AllWell:
		title, body = p.standing(s)
	default:
		title, body = p.line(m.Event), p.explain(m.Event)
	}
	if len(c.Fresh) > 0 {
		body = append([]string{"Called as well, because nobody else has answered or can be reached: " + strings.Join(c.Fresh, ", ") + ".", ""}, body...)
	}
	if p.units().fahrenheitFirst {
		for i := range body {
			body[i] = exporter.FahrenheitFirst(body[i])
		}
	}
	m.Title, m.Body = shorten(strings.Join(strings.Fields(title), " "), maxTitle), strings.Join(append(body, w.reply(c, &m)...), "\n")
	return m
}

// worst is what a message is about first: what is on before what is over.
func worst(all []alarm.Event) alarm.Event {
	return slices.MaxFunc(all, func(a, b alarm.Event) int {
		if over := a.State == alarm.Cleared; over != (b.State == alarm.Cleared) {
			if over {
				return -1
			}
			return 1
		}
		return int(a.Severity) - int(b.Severity)
	})
}

// reply tells how a call is answered, where there is anything to acknowledge.
func (w Writer) reply(c calls.Call, m *exporter.Message) []string {
	if c.Why == calls.Waited || !slices.ContainsFunc(c.About, func(e alarm.Event) bool { return e.State == alarm.Raised }) {
		return nil
	}
	if w.Link != nil {
		m.Link = w.Link(m.ID)
	}
	switch {
	case m.Link != "":
		return []string{"", "You are on it? Say so once, and the calls about this stop:", m.Link}
	case m.Event.Severity == alarm.Urgent:
		return []string{"", "You are called again until somebody acknowledges it, on the page or with: " + ackCommand(m.Event)}
	}
	return nil
}

// ackCommand acknowledges everything of the nest that is told first.
func ackCommand(e alarm.Event) string {
	if e.Nest == "" {
		return "nestmon alarms ack"
	}
	return "nestmon alarms ack --nest " + e.Nest
}

// id is the same for the same call, whoever writes it and how often.
func id(c calls.Call, now time.Time) string {
	parts := []string{string(c.Why), stamp(now), strconv.Itoa(c.Number)}
	for _, e := range slices.Concat(c.About, c.Over) {
		parts = append(parts, stamp(e.Time), e.Nest, string(e.Name), string(e.State), e.Severity.String())
	}
	sum := sha256.Sum256([]byte(strings.Join(parts, "\x00")))
	return hex.EncodeToString(sum[:16])
}

func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

// page is what one message is written on: the writer, and the time that its times of day are told from.
type page struct {
	Writer
	now time.Time
}

// unanswered begins the title of what is repeated.
func unanswered(c calls.Call) string {
	return fmt.Sprintf("STILL URGENT, call %d, nobody has answered: ", c.Number+1)
}

// again is about what nobody has acknowledged.
func (p page) again(c calls.Call) (title string, body []string) {
	title = p.what(c.About[0])
	if n := len(c.About); n > 1 {
		title = fmt.Sprintf("%s at %s; worst: %s", plural(n, "alarm"), places(c.About), title)
	}
	if len(c.About) > mostWhole {
		return unanswered(c) + title, append(append(p.listed(c.About), ""), p.explain(c.About[0])...)
	}
	for i, e := range c.About {
		if i > 0 {
			body = append(body, "")
		}
		body = append(body, p.explain(e)...)
	}
	return unanswered(c) + title, body
}

// storm is about many at once.
func (p page) storm(c calls.Call) (title string, body []string) {
	if len(c.About) == 0 {
		return fmt.Sprintf("Over: %s at %s", plural(len(c.Over), "alarm"), places(c.Over)), p.listed(c.Over)
	}
	urgent := 0
	for _, e := range c.About {
		if e.Severity == alarm.Urgent {
			urgent++
		}
	}
	switch {
	case urgent > 0 && c.Number > 0:
		title = unanswered(c)
	case urgent > 0:
		title = "URGENT: "
	default:
		title = "WARNING: "
	}
	title += fmt.Sprintf("%s at %s", plural(len(c.About), "alarm"), places(c.About))
	if urgent > 0 {
		title += fmt.Sprintf(", %d urgent", urgent)
	}
	if n := len(c.Over); n > 0 {
		title += fmt.Sprintf(", %d over", n)
	}
	title += "; worst: " + p.what(c.About[0])
	body = []string{"Many alarms at once, told in one message. Look first for one cause: the weather, the power, a cable.", "It began with " + p.what(c.First) + ".", ""}
	body = append(body, p.listed(c.About)...)
	if len(c.Over) > 0 {
		body = append(append(body, "", "Over since the last message:"), p.listed(c.Over)...)
	}
	return title, append(append(body, "", "What to do about the worst:"), p.explain(c.About[0])...)
}

// digest tells what could wait.
func (p page) digest(c calls.Call) (title string, body []string) {
	var counts [alarm.Urgent + 1]int
	over := 0
	for _, e := range c.About {
		if e.State == alarm.Cleared {
			over++
			continue
		}
		counts[e.Severity]++
	}
	var said []string
	for severity := alarm.Urgent; severity > alarm.None; severity-- {
		if n := counts[severity]; n > 0 {
			said = append(said, plural(n, severity.String()))
		}
	}
	if over > 0 {
		said = append(said, fmt.Sprintf("%d that came and went", over))
	}
	title = "Could wait: " + p.line(worst(c.About))
	if len(c.About) > 1 {
		title = "Could wait: " + strings.Join(said, ", ") + ". First look at: " + p.line(worst(c.About))
	}
	if c.Number > 0 {
		body = append(body, fmt.Sprintf("%d older ones are not listed; look at the page.", c.Number), "")
	}
	for i, e := range c.About {
		if i == mostListed {
			body = append(body, fmt.Sprintf("And %d more; look at the page.", len(c.About)-i))
			break
		}
		if i > 0 {
			body = append(body, "")
		}
		body = append(body, p.line(e))
		if e.Text != "" && e.State != alarm.Cleared {
			body = append(body, e.Text)
		}
	}
	return title, body
}

func (p page) listed(all []alarm.Event) (lines []string) {
	for i, e := range all {
		if i == mostListed {
			return append(lines, fmt.Sprintf("And %d more; look at the page.", len(all)-i))
		}
		lines = append(lines, p.line(e))
	}
	return lines
}

// mostNamed is how many nests a title names; of more it tells the number. Ours, no source.
const mostNamed = 4

// places names the nests of some alarms, or counts them where they are many.
func places(all []alarm.Event) string {
	var names []string
	for _, e := range all {
		name := e.Nest
		if name == "" {
			name = "the site"
		}
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	if len(names) > mostNamed {
		return fmt.Sprintf("%d places", len(names))
	}
	return strings.Join(names, ", ")
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// line tells one alarm in one line that begins with how bad it is.
func (p page) line(e alarm.Event) string {
	head := strings.ToUpper(e.Severity.String())
	switch {
	case e.State == alarm.Cleared:
		head = "Over"
	case e.Severity <= alarm.Notice:
		head = "Notice"
	}
	return head + ": " + p.what(e)
}

// what says where, what, value and limit, and since when.
func (p page) what(e alarm.Event) string {
	u, t := p.units(), e.Name.Plain()
	switch {
	case e.Nest != "":
		t = "nest " + e.Nest + ": " + t
	case e.Probe != "":
		t = "probe " + e.Probe + ": " + t
	}
	over := e.State == alarm.Cleared
	if over {
		t += ", " + clockTime(e.Since, p.now, p.zone()) + " to " + clockTime(e.Time, p.now, p.zone())
	}
	switch value := u.valueOf(e); {
	case !e.HasValue:
	case over && e.Unit != hoursUnit: // what counts time is back at nothing
		t += ", now " + value
	case over:
	case e.HasLimit && e.State == alarm.Raised:
		t += ", " + value + ", limit " + u.write(e.Limit, e.Unit)
	default:
		t += ", " + value
	}
	if e.State == alarm.Raised && !e.Since.IsZero() {
		t += ", since " + clockTime(e.Since, p.now, p.zone())
	}
	return strings.Join(strings.Fields(t), " ")
}

// explain tells all there is to one alarm: what to do first.
func (p page) explain(e alarm.Event) (lines []string) {
	u := p.units()
	add := func(is bool, format string, args ...any) {
		if is {
			lines = append(lines, fmt.Sprintf(format, args...))
		}
	}
	raised, day := e.State == alarm.Raised, func(t time.Time) string { return t.In(p.zone()).Format("Mon 2 Jan 15:04") }
	add(e.Text != "", "%s", e.Text)
	add(e.Text == "", "%s", p.what(e))
	add(e.HasValue, "Value: %s", u.valueOf(e))
	add(e.HasLimit && raised, "Limit: %s", u.write(e.Limit, e.Unit))
	add(e.Probe != "", "Probe: %s", e.Probe)
	add(!e.Since.IsZero(), "Since: %s", day(e.Since))
	add(e.State == alarm.Cleared, "Over: %s, was %s", day(e.Time), e.Severity)
	add(e.Rule != "" && raised, "Rule: %s", e.Rule)
	return lines
}

func (w Writer) units() units { return units{fahrenheitFirst: w.Display != "celsius"} }

func (w Writer) zone() *time.Location {
	if w.Zone == nil {
		return time.UTC
	}
	return w.Zone
}

// shorten cuts s to at most n characters.
func shorten(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n-1]) + "…"
}
