package ical

import (
	"io"
	"strings"
	"time"
	"unicode"

	ics "github.com/arran4/golang-ical"
)

// refresh is how often phones are asked to look, ours, no source: a chore that was done is seen by the others within the hour.
const refresh = "PT1H"

// encode writes the file.
func (c Calendar) encode(w io.Writer, events []event, uids []string, rows map[string]Row) error {
	cal := ics.NewCalendarFor("nestmon")
	cal.SetProductId("-//nestmon//chores//EN")
	cal.SetCalscale("GREGORIAN")
	cal.SetName(plain(c.Name))
	cal.SetXWRCalName(plain(c.Name)) // NAME is newer than most programs
	cal.SetRefreshInterval(refresh)  // the name of the property brings VALUE=DURATION with it
	cal.SetXPublishedTTL(refresh)
	for i, e := range events {
		row, v := rows[uids[i]], cal.AddEvent(uids[i])
		v.SetDtStampTime(row.Changed)
		v.SetModifiedAt(row.Changed)
		v.SetSequence(row.Sequence)
		v.SetAllDayStartAt(e.first.Noon(time.UTC))
		v.SetAllDayEndAt(e.end.Noon(time.UTC))
		v.SetSummary(strings.ReplaceAll(plain(e.summary), "\n", " "))
		v.SetDescription(plain(e.details))
		for _, name := range e.categories {
			v.AddCategory(plain(name))
		}
		v.SetStatus(ics.ObjectStatusConfirmed)
		v.SetTimeTransparency(ics.TransparencyTransparent)
	}
	return cal.SerializeTo(w, ics.WithNewLineWindows)
}

// lineBreaks are all that a program may take for one.
var lineBreaks = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\u0085", "\n", "\u2028", "\n", "\u2029", "\n")

// plain is a text as RFC 5545 lets one be: UTF-8 without control characters, its line breaks LF.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\n' {
			return ' '
		}
		return r
	}, lineBreaks.Replace(strings.ToValidUTF8(s, "\uFFFD")))
}
