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
	"nestmon/thresholds/alarm"
)

// maxTitle is the longest title in characters: what a locked phone shows of a message, roughly. Ours, no source.
const maxTitle = 180

// Compose writes the message about an event. display is fahrenheit or celsius and says which unit comes first; both are
// always there. Times of day are those of loc.
func Compose(e alarm.Event, display string, loc *time.Location) exporter.Message {
	u := units{fahrenheitFirst: display != "celsius"}
	return exporter.Message{ID: id(e), Time: e.Time, Title: title(e, u, loc), Body: body(e, u, loc), Event: e}
}

// id is the same for the same change, whoever composes it and how often.
func id(e alarm.Event) string {
	sum := sha256.Sum256([]byte(strings.Join([]string{
		e.Time.UTC().Format(time.RFC3339Nano), e.Nest, string(e.Name), string(e.State), e.Severity.String(),
	}, "\x00")))
	return hex.EncodeToString(sum[:16])
}

func title(e alarm.Event, u units, loc *time.Location) string {
	t := strings.ToUpper(e.Severity.String())
	if e.State == alarm.Cleared {
		t = "over"
	}
	t += ": " + place(e) + " " + e.Name.Plain()
	if e.HasValue && (e.State != alarm.Cleared || e.Unit != hoursUnit) { // what counts time is back at nothing when it is over
		t += ", " + u.write(e.Value, e.Unit)
	}
	switch {
	case e.State == alarm.Cleared:
		t += ", " + clockTime(e.Since, e.Time, loc) + " to " + clockTime(e.Time, e.Time, loc)
	case !e.Since.IsZero() && e.State == alarm.Raised:
		t += ", since " + clockTime(e.Since, e.Time, loc)
	}
	return shorten(strings.Join(strings.Fields(t), " "), maxTitle)
}

func place(e alarm.Event) string {
	if e.Nest == "" {
		return "site:"
	}
	return "nest " + e.Nest + ":"
}

func body(e alarm.Event, u units, loc *time.Location) string {
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
		add("Since: %s", e.Since.In(loc).Format("Mon 2 Jan 15:04"))
	}
	if e.State == alarm.Cleared {
		add("Over: %s, was %s", e.Time.In(loc).Format("Mon 2 Jan 15:04"), e.Severity)
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
