package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/alarm/quality"
)

// headCalls is how many calls the first line names; ours, no source.
const headCalls = 10

// qualityHead is the one line that a keeper reads: how often somebody was woken, and by what.
func qualityHead(r *quality.Report, came string, loc *time.Location) string {
	days := max(int(r.To.Sub(r.From).Hours()/24+0.5), 1)
	return fmt.Sprintf("%s %s in %s (%s)", came, often(r.Woken), count(days, "day"), spanned(r.From.In(loc), r.To.In(loc))) + called(r, true, loc)
}

// The head begins with what is known: a replay calls nobody, and of the past it is known what was urgent, not who slept.
const (
	wouldHaveBeen = "With these limits you would have been woken"
	nightCalls    = "Between 22:00 and 06:00 an urgent alarm came"
)

// called names those of the night, or those of the day.
func called(r *quality.Report, night bool, loc *time.Location) string {
	var all []string
	for _, c := range r.Calls {
		if c.Night == night {
			all = append(all, c.At.In(loc).Format("2 Jan 15:04 ")+whose(c.Nest, c.Event))
		}
	}
	more := ""
	if len(all) > headCalls {
		more = fmt.Sprintf(" and %d more", len(all)-headCalls)
		all = all[:headCalls]
	}
	if len(all) == 0 {
		return "."
	}
	return ": " + strings.Join(all, ", ") + more + "."
}

func whose(nest string, name alarm.Name) string {
	if nest == "" {
		return "site: " + name.Plain()
	}
	return nest + ": " + name.Plain()
}

func often(n int) string {
	switch n {
	case 0:
		return "not once"
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// spanned names a month that is whole, or its days.
func spanned(from, to time.Time) string {
	last := to.Add(-time.Nanosecond)
	if y, m, d := from.Date(); d == 1 && last.Year() == y && last.Month() == m && last.AddDate(0, 0, 1).Month() != m {
		return from.Format("January 2006")
	}
	if from.Year() == last.Year() && from.YearDay() == last.YearDay() {
		return from.Format("2 Jan 2006")
	}
	if from.Year() == last.Year() {
		return from.Format("2 Jan to ") + last.Format("2 Jan 2006")
	}
	return from.Format("2 Jan 2006 to ") + last.Format("2 Jan 2006")
}

// writeQuality prints all below the head; basis says what was counted as a call.
func writeQuality(out io.Writer, r *quality.Report, basis string, loc *time.Location) {
	byDay := len(r.Calls) - r.Woken
	wrap(out, "", fmt.Sprintf("By day %s%s", often(byDay), called(r, false, loc)))
	wrap(out, "", basis)
	fmt.Fprintln(out)
	writeRate(out, r)
	writeRows(out, r)
	writeFigures(out, r.Figures)
	if len(r.Advice) > 0 {
		fmt.Fprintln(out, "\nWhat to mend:")
		for _, a := range r.Advice {
			wrap(out, "- ", a)
		}
	}
	writeNotJudged(out, r, loc)
}

func writeRate(out io.Writer, r *quality.Report) {
	t := &r.Total
	line := count(t.Alarms, "alarm")
	if site := r.ByNest[0]; site.Nest == "" && site.Alarms > 0 {
		line += fmt.Sprintf(", %d of them the site's own,", site.Alarms)
	}
	line += fmt.Sprintf(" in %.1f nest-weeks (%s)", r.NestWeeks, count(r.Nests, "nest"))
	if t.Rate != nil {
		line += fmt.Sprintf(": %.2f a nest-week, 95 %% [%.2f-%.2f] if they came independently of each other", t.Rate.Value, t.Rate.Low, t.Rate.High)
	}
	line += fmt.Sprintf("; beside them %s and %s, which are no alarms.", count(t.Notices, "notice"), count(t.Chores, "chore"))
	if r.Few {
		line += " That is too short a time to judge limits by."
	}
	wrap(out, "", line)
}

// writeRows prints the most frequent alarms, and below them each nest.
func writeRows(out io.Writer, r *quality.Report) {
	rows := r.Frequent()
	if len(rows) == 0 {
		return
	}
	fmt.Fprintln(out)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "nest\talarm\ttimes\twarning\turgent\tagain\tfleeting\tstale\tunanswered")
	line := func(name, event string, row *quality.Row) {
		unseen := "-"
		if r.ActsKnown {
			unseen = fmt.Sprint(row.Unseen)
		}
		fmt.Fprintf(w, "%s\t%s\t%d\t%d\t%d\t%d\t%d\t%d\t%s\n", name, event, row.Alarms, row.Raised.Warning, row.Raised.Urgent, row.Again, row.Fleeting, row.Stale, unseen)
	}
	for i := range rows {
		line(siteOr(rows[i].Nest), string(rows[i].Event), &rows[i])
	}
	for i := range r.ByNest {
		if row := &r.ByNest[i]; row.Alarms > 0 {
			line(siteOr(row.Nest), "all", row)
		}
	}
	_ = w.Flush()
}

func siteOr(nest string) string {
	if nest == "" {
		return "site"
	}
	return nest
}

func writeFigures(out io.Writer, figures []quality.Figure) {
	fmt.Fprintln(out)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	sources := []string{}
	fmt.Fprintln(w, "measure\there\taim\tby")
	for _, f := range figures {
		i := slices.Index(sources, f.Source)
		if i < 0 {
			i, sources = len(sources), append(sources, f.Source)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t[%d]\n", f.What, f.Here, f.Aim, i+1)
	}
	_ = w.Flush()
	for i, s := range sources {
		wrap(out, fmt.Sprintf("[%d] ", i+1), s)
	}
}

// writeNotJudged names the days of which nothing can be said, in runs of the same nests.
func writeNotJudged(out io.Writer, r *quality.Report, loc *time.Location) {
	for i := 0; i < len(r.NotJudged); {
		first, j := r.NotJudged[i], i+1
		for j < len(r.NotJudged) && slices.Equal(r.NotJudged[j].Nests, first.Nests) && r.NotJudged[j].Date.In(loc).AddDate(0, 0, -1).Equal(r.NotJudged[j-1].Date) {
			j++
		}
		when := first.Date.In(loc).Format("2 Jan 2006")
		if last := r.NotJudged[j-1]; j-i > 1 {
			when += " to " + last.Date.In(loc).Format("2 Jan 2006")
		}
		nests := strings.Join(first.Nests, ", ")
		if len(first.Nests) == r.Nests && r.Nests > 1 {
			nests = "every nest"
		}
		if i == 0 {
			fmt.Fprintln(out, "\nCannot be judged, for there was no temperature for over three hours of the day:")
		}
		wrap(out, "- ", when+": "+nests)
		i = j
	}
}
