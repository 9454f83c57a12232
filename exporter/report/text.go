package report

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"nestmon/thresholds/review"
)

// columns is what the narrowest terminal shows.
const columns = 80

// Text writes the report for a terminal, in lines of at most 80 columns.
func Text(w io.Writer, r *review.Review, site Site) error {
	v := newView(r, site)
	out := bufio.NewWriter(w)
	say := func(head, text string) { wrap(out, head, text) }
	say("", v.Title+", "+v.Where+", "+v.Site)
	if v.Open {
		say("", "Not finished: written on "+v.Made+".")
	}
	fmt.Fprintln(out)
	say("", joined(v.Facts))
	say("", "Alive "+joined(v.Survival))
	fmt.Fprintln(out)
	for _, s := range v.Said {
		say(fmt.Sprintf("%-11s", s.Name), s.Value)
	}
	fmt.Fprintln(out, "\nHours beyond the limits of their age")
	for _, h := range v.Hours {
		say(fmt.Sprintf("  %-9s ", h.Place), fmt.Sprintf("under %s; over %s; measured %s; no data %s", h.Cold, h.Hot, h.Judged, h.Missing))
	}
	for _, l := range v.Limits {
		say(fmt.Sprintf("  day %-5s ", l.Days), fmt.Sprintf("limits: pile %s to %s, air %s to %s", l.PileCold, l.PileHot, l.AirCold, l.AirHot))
	}
	if len(v.Losses) > 0 {
		fmt.Fprintln(out, "\nLosses, beside what was measured around then")
		for _, l := range v.Losses {
			say(fmt.Sprintf("  %-7s", l.Day), fmt.Sprintf("%s: %d lost, %s. Pile: %s. Outside: %s.", l.Date, l.Kits, l.Words, l.Pile, l.Outside))
		}
	}
	fmt.Fprintln(out, "\nSeen and done")
	for _, n := range v.Notes {
		say(fmt.Sprintf("  %-18s", n.Name), n.Value)
	}
	for i, w := range v.Weights {
		head := ""
		if i == 0 {
			head = "Weights"
		}
		say(fmt.Sprintf("  %-18s", head), w)
	}
	for _, f := range v.Sources {
		say("  ["+f.Name+"] ", f.Value)
	}
	fmt.Fprintln(out)
	say("", caution)
	table(out, v)
	return out.Flush()
}

func joined(all []fact) string {
	var parts []string
	for _, f := range all {
		p := strings.ToLower(f.Name[:1]) + f.Name[1:] + " " + f.Value
		if f.More != "" {
			p += " (" + f.More + ")"
		}
		parts = append(parts, p)
	}
	s := strings.Join(parts, ", ")
	return strings.ToUpper(s[:1]) + s[1:] + "."
}

// table writes one line a day. A ? stands where nothing was judged.
func table(out io.Writer, v *view) {
	fmt.Fprintf(out, "\nday  date    pile %-2s   air %-2s    outside %-2s under over  blank  doe  lost  bed\n", v.Sign, v.Sign, v.Sign)
	for _, d := range v.Days {
		bed := ""
		if d.Bedding {
			bed = "new"
		}
		line := fmt.Sprintf("%3d  %-6s  %-9s  %-9s  %-10s  %4s  %4s  %4s  %3s  %4s  %s", d.Day, d.Date, short(d.Pile), short(d.Air), short(d.Outside), d.Cold, d.Hot, d.Blank, d.Visits, d.Lost, bed)
		fmt.Fprintln(out, strings.TrimRight(line, " "))
	}
	fmt.Fprintln(out, "\nunder, over, blank: hours of the day with the pile's probe under or over its\nlimit, or without data; ?: nothing was judged.")
}

// short is lowest to highest as it fits into a column.
func short(between string) string {
	if between == "not measured" {
		return none
	}
	return strings.ReplaceAll(between, " to ", "..")
}

// wrap writes text after head, broken between words, with further lines indented under its beginning.
func wrap(out io.Writer, head, text string) {
	indent := strings.Repeat(" ", utf8.RuneCountInString(head))
	line, empty := head, true
	for _, word := range strings.Fields(text) {
		if !empty && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > columns {
			fmt.Fprintln(out, line)
			line, empty = indent, true
		}
		if !empty {
			line += " "
		}
		line, empty = line+word, false
	}
	fmt.Fprintln(out, line)
}
