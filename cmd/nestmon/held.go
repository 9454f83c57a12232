package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"slices"
	"text/tabwriter"
	"time"

	"nestmon/thresholds/held"
)

// heldYears is how far back hours are looked at unless another day is given: each season twice; ours, no source.
const heldYears = 2

// held answers what the nests held over the air outside, or what one of them did.
func (d *daemon) held(nest, since string) ([]held.Row, error) {
	if d.bookUnread {
		return nil, errBookUnread
	}
	now := d.pace.Now()
	from := now.AddDate(-heldYears, 0, 0)
	if since != "" {
		var err error
		if from, err = parseTime(since, d.cfg.location()); err != nil {
			return nil, fmt.Errorf("since: %w", err)
		}
	}
	if d.cfg.Outside == "" {
		return nil, errors.New("no probe measures the air outside, so nobody knows what a nest held over it; hang one in the shade and name it under outside in the configuration")
	}
	nests, probes, known := []string{}, []string{d.cfg.Outside}, nest == ""
	for _, n := range d.cfg.Nests {
		known = known || n.ID == nest
		if n.Air != "" && (nest == "" || n.ID == nest) {
			nests, probes = append(nests, n.ID), append(probes, n.Air)
		}
	}
	if !known {
		return nil, fmt.Errorf("nest %q is not in the configuration; write one that 'nestmon status' lists", nest)
	}
	t := held.New(d.Book(), nests)
	err := d.archive.Means(from, now, probes, func(hour time.Time, means []float64) { t.Add(hour, means[0], means[1:]) })
	return t.Rows(), err
}

func runHeld(ctx context.Context, args []string, std stdio) int {
	fs := flags("litter held", "litter held [--config F] [--nest N] [--since DATE] [--json]", std)
	file := fs.String("config", installedConfig, "the daemon's configuration `file`")
	nest := fs.String("nest", "", "the `nest`'s id; left out for all")
	since := fs.String("since", "", "from that `day` on; two years back where it is left out")
	asJSON := fs.Bool("json", false, "print one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig("litter held", *file, std)
	if !ok {
		return exitWrongUse
	}
	which := "?" + url.Values{"nest": {*nest}, "since": {*since}}.Encode()
	var err error
	if *asJSON {
		rows := []held.Row{}
		if err = call(cfg.Control).get(ctx, "/control/held"+which, &rows); err == nil {
			err = printJSON(std.out, rows)
		}
	} else {
		_, err = call(cfg.Control).copy(ctx, "/control/held.txt"+which, std.out)
	}
	if err != nil {
		return wrongUse(fs, err)
	}
	return exitDone
}

// sayHeld answers the command in words.
func (d *daemon) sayHeld(w http.ResponseWriter, r *http.Request) {
	nest := r.FormValue("nest")
	rows, err := d.held(nest, r.FormValue("since"))
	if err != nil {
		refuse(w, err)
		return
	}
	writeHeld(w, rows, measures{fahrenheit: d.cfg.Site.Display == "fahrenheit"}, nest != "")
}

// measures writes differences and depths in both units, the configured one first.
type measures struct{ fahrenheit bool }

func (m measures) both(o held.Over) string {
	c, f := fmt.Sprintf("%.0f °C", even(o.C)), fmt.Sprintf("%.0f °F", even(o.F))
	if m.fahrenheit {
		return fmt.Sprintf("%s (%s)", f, c)
	}
	return fmt.Sprintf("%s (%s)", c, f)
}

// between is a span of differences in the configured unit: 9 to 20 °F.
func (m measures) between(low, high held.Over) string {
	if m.fahrenheit {
		return fmt.Sprintf("%.0f to %.0f °F", even(low.F), even(high.F))
	}
	return fmt.Sprintf("%.0f to %.0f °C", even(low.C), even(high.C))
}

// even is v in whole degrees, without a minus before nought.
func even(v float64) float64 { return math.Round(v) + 0 }

const cmPerInch = 2.54

func (m measures) bedding(r *held.Row) string {
	switch {
	case r.Depth > 0 && m.fahrenheit:
		return fmt.Sprintf("%.0f in (%.0f cm) of %s", r.Depth/cmPerInch, r.Depth, cmp.Or(r.Bedding, "bedding"))
	case r.Depth > 0:
		return fmt.Sprintf("%.0f cm (%.0f in) of %s", r.Depth, r.Depth/cmPerInch, cmp.Or(r.Bedding, "bedding"))
	}
	return r.Bedding
}

// lay is what lay in a nest, in few letters; where it was bedded with something, kits lay on it.
func (m measures) lay(r *held.Row) string {
	switch {
	case !r.Kits:
		return "empty"
	case r.Bedding == "" && r.Depth == 0:
		return "kits"
	case r.Depth == 0:
		return r.Bedding
	case m.fahrenheit:
		return fmt.Sprintf("%s %.0f in", cmp.Or(r.Bedding, "bedding"), r.Depth/cmPerInch)
	}
	return fmt.Sprintf("%s %.0f cm", cmp.Or(r.Bedding, "bedding"), r.Depth)
}

// fewHours is three days, below which their weather says more than the nest; ours, no source.
const fewHours = 72

// writeHeld prints what was held with kits, and where that is wanted what empty nests held.
func writeHeld(out io.Writer, rows []held.Row, m measures, empty bool) {
	if len(rows) == 0 {
		wrap(out, "", "There is no hour yet with nest air and outside air, and a nest of which the litter book knows whether kits lay in it.")
		return
	}
	wrap(out, "", "How much warmer nest air was than outside, by the hour: the mean, and what nine hours of ten lay between. Where bedding is named, kits lay on it.")
	fmt.Fprintln(out)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "nest\tmonth\tin it\tmean\t9 of 10 hours\thours\tlitters")
	for i := range rows {
		if r := &rows[i]; r.Kits || empty {
			fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%d\t%d\n", r.Nest, r.Month.String()[:3], m.lay(r), m.both(r.Mean), m.between(r.Low, r.High), r.Hours, r.Litters)
		}
	}
	_ = w.Flush()
	fmt.Fprintln(out)
	for _, r := range farthest(rows) {
		wrap(out, "", m.say(r, rows))
	}
}

// farthest are the rows with kits that held most and least.
func farthest(rows []held.Row) []*held.Row {
	var all []*held.Row
	for i := range rows {
		if rows[i].Kits && rows[i].Hours >= fewHours {
			all = append(all, &rows[i])
		}
	}
	slices.SortStableFunc(all, func(a, b *held.Row) int { return cmp.Compare(b.Mean.C, a.Mean.C) })
	if len(all) > 2 {
		return []*held.Row{all[0], all[len(all)-1]}
	}
	return all
}

// say tells of a row, beside the same nest and month without kits.
func (m measures) say(r *held.Row, rows []held.Row) string {
	text := fmt.Sprintf("%s held %s over outside in %s", r.Nest, m.both(r.Mean), r.Month)
	if r.Mean.C < 0 {
		text = fmt.Sprintf("%s was %s colder than outside in %s", r.Nest, m.both(held.Over{C: -r.Mean.C, F: -r.Mean.F}), r.Month)
	}
	text += " with "
	if bedding := m.bedding(r); bedding != "" {
		text += bedding + " and "
	}
	other := measures{!m.fahrenheit}
	text += fmt.Sprintf("kits in it (%d h, %s), nine hours of ten %s (%s)", r.Hours, count(r.Litters, "litter"), m.between(r.Low, r.High), other.between(r.Low, r.High))
	i := slices.IndexFunc(rows, func(o held.Row) bool { return o.Nest == r.Nest && o.Month == r.Month && !o.Kits })
	if i < 0 || rows[i].Hours < fewHours {
		return text + "; how much of it is theirs is not known, for it was hardly ever empty in that month."
	}
	return fmt.Sprintf("%s; empty it held %s (%d h).", text, m.both(rows[i].Mean), rows[i].Hours)
}
