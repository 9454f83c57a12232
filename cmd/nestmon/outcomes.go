package main

import (
	"context"
	"fmt"
	"io"
	"net/url"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"nestmon/thresholds/book"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/survival"
)

// outcomes answers what was learned across litters.
func (d *daemon) outcomes(q url.Values) (survival.Report, error) {
	if d.bookUnread {
		return survival.Report{}, errBookUnread
	}
	ask := survival.Ask{Now: d.pace.Now()}
	var err error
	if q.Get("by") != "" {
		if ask.By, err = choose("by", q.Get("by"), survival.Keys); err != nil {
			return survival.Report{}, err
		}
	}
	for name, to := range map[string]*time.Time{"since": &ask.Since, "until": &ask.Until} {
		if text := q.Get(name); text != "" {
			if *to, err = parseTime(text, d.cfg.location()); err != nil {
				return survival.Report{}, fmt.Errorf("%s: %w", name, err)
			}
		}
	}
	return survival.Measure(d.Book(), ask), nil
}

func runOutcomes(ctx context.Context, args []string, std stdio) int {
	fs := flags("litter outcomes", "litter outcomes [--config F] [--by nest|kind|season|bedding|doe|buck] [--since DATE] [--until DATE] [--json]", std)
	file := fs.String("config", installedConfig, "the daemon's configuration `file`")
	by := fs.String("by", "", "compare by `what`: "+strings.Join(texts(survival.Keys), ", "))
	since := fs.String("since", "", "only litters born on that `day` or later")
	until := fs.String("until", "", "only litters born on that `day` or earlier")
	asJSON := fs.Bool("json", false, "print one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	cfg, ok := openConfig("litter outcomes", *file, std)
	if !ok {
		return exitWrongUse
	}
	q := url.Values{}
	if *by != "" {
		if _, err := choose("--by", *by, survival.Keys); err != nil {
			return wrongUse(fs, err)
		}
		q.Set("by", *by)
	}
	for _, bound := range []struct {
		name, text string
		more       int // days: the last day counts whole
	}{{"since", *since, 0}, {"until", *until, 1}} {
		if bound.text == "" {
			continue
		}
		at, err := litter.ParseDate(bound.text)
		if err != nil {
			return wrongUse(fs, fmt.Errorf("--%s %q is not a day; write it like 2031-04-02", bound.name, bound.text))
		}
		q.Set(bound.name, at.Add(bound.more).Begin(cfg.location()).Format(time.RFC3339))
	}
	var r survival.Report
	if err := call(cfg.Control).get(ctx, "/control/outcomes?"+q.Encode(), &r); err != nil {
		return wrongUse(fs, err)
	}
	if *asJSON {
		if err := printJSON(std.out, r); err != nil {
			return exitWrongUse
		}
		return exitDone
	}
	writeOutcomes(std.out, &r, cfg.location())
	return exitDone
}

func writeOutcomes(out io.Writer, r *survival.Report, loc *time.Location) {
	head := fmt.Sprintf("What became of the kits of %s", count(r.All.Litters, "litter"))
	if r.Since != nil {
		head += " born since " + dayOf(r.Since, loc)
	}
	if r.Until != nil {
		last := r.Until.In(loc).AddDate(0, 0, -1)
		head += " up to " + dayOf(&last, loc)
	}
	if r.All.Litters == 0 {
		wrap(out, "", head+". There is none yet that was entered as kindled.")
		return
	}
	wrap(out, "", head+": percent alive at the end of day 3, 10 and 21 and at weaning, [where the truth lies 19 times of 20], and of how many litters.")
	fmt.Fprintln(out)
	groups := append(slices.Clone(r.Groups), r.All)
	groups[len(groups)-1].Name = "all"
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "%s\tday 3\tday 10\tday 21\tweaned\n", r.By)
	for i := range groups {
		fmt.Fprint(w, groupName(&groups[i]))
		for _, f := range groups[i].Days {
			fmt.Fprintf(w, "\t%s", figureCell(f))
		}
		fmt.Fprintln(w)
	}
	_ = w.Flush()
	if slices.ContainsFunc(groups, func(g survival.Group) bool { return slices.ContainsFunc(g.Days, few) }) {
		fmt.Fprintln(out, "* too few litters to tell")
	}
	fmt.Fprintln(out)
	writeBorn(out, r, groups)
	writeLosses(out, r.All.Losses)
	for _, text := range r.Words {
		wrap(out, "", text)
	}
	writeLeftOut(out, r)
}

// longestGroup is how many letters of a name fit into the table; ours, no source.
const longestGroup = 12

func groupName(g *survival.Group) string {
	name := []rune(g.Name)
	switch {
	case len(name) == 0:
		return "not known"
	case len(name) > longestGroup:
		return string(name[:longestGroup-1]) + "…"
	}
	return g.Name
}

func few(f survival.Figure) bool { return f.Few && f.Of > 0 }

// figureCell is a figure in few letters: 94 [81-99] 12.
func figureCell(f survival.Figure) string {
	if f.Value == nil {
		return "-"
	}
	cell := whole(*f.Value) + " [none]"
	if f.Low != nil {
		cell = fmt.Sprintf("%s [%s-%s]", whole(*f.Value), whole(*f.Low), whole(*f.High))
	}
	cell += fmt.Sprintf(" %d", f.Litters)
	if few(f) {
		cell += "*"
	}
	return cell
}

// whole is a share in whole percent; what is neither none nor all is not written as if it were.
func whole(v float64) string {
	p := int(100*v + 0.5)
	if v > 0 && v < 1 {
		p = min(max(p, 1), 99)
	}
	return fmt.Sprint(p)
}

// writeBorn tells of litter sizes and of does that did not kindle.
func writeBorn(out io.Writer, r *survival.Report, groups []survival.Group) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "%s\tlitters\tborn\ta litter\tstillborn\tdid not kindle\n", r.By)
	for i := range groups {
		g := &groups[i]
		size := "-"
		if g.Size != nil {
			size = fmt.Sprintf("%.1f ± %.1f (%d-%d)", g.Size.Mean, g.Size.SD, g.Size.Least, g.Size.Most)
		}
		fmt.Fprintf(w, "%s\t%d\t%d\t%s\t%s\t%s\n", groupName(g), g.Litters, g.Kits, size, plainShare(g.Stillborn), shareCell(g.Failed))
	}
	_ = w.Flush()
	fmt.Fprintln(out)
}

// plainShare is a share without its interval: 6 % of 33.
func plainShare(s survival.Share) string {
	if s.Value == nil {
		return "-"
	}
	return fmt.Sprintf("%s %% of %d", whole(*s.Value), s.Of)
}

// shareCell is a share with its interval: 6 % [1-20] of 33.
func shareCell(s survival.Share) string {
	if s.Low == nil {
		return plainShare(s)
	}
	return fmt.Sprintf("%s %% [%s-%s] of %d", whole(*s.Value), whole(*s.Low), whole(*s.High), s.Of)
}

// lostBy are the ages that losses are shown by, each up to its last day; ours, those of the figures.
var lostBy = []int{0, 3, 10, 21}

// writeLosses shows lost kits by cause and age.
func writeLosses(out io.Writer, losses []survival.Loss) {
	if len(losses) == 0 {
		return
	}
	rows, causes := map[book.Cause][]int{}, []book.Cause{}
	for _, l := range losses {
		if rows[l.Cause] == nil {
			rows[l.Cause], causes = make([]int, len(lostBy)+2), append(causes, l.Cause)
		}
		age, _ := slices.BinarySearch(lostBy, l.Day)
		rows[l.Cause][age] += l.Kits
		rows[l.Cause][len(lostBy)+1] += l.Kits
	}
	slices.SortFunc(causes, func(a, b book.Cause) int { return rows[b][len(lostBy)+1] - rows[a][len(lostBy)+1] })
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "kits lost\tday 0\t1-3\t4-10\t11-21\tlater\tall")
	for _, c := range causes {
		fmt.Fprint(w, c)
		for _, n := range rows[c] {
			fmt.Fprintf(w, "\t%d", n)
		}
		fmt.Fprintln(w)
	}
	_ = w.Flush()
	fmt.Fprintln(out)
}

// writeLeftOut tells what the figures do not tell of.
func writeLeftOut(out io.Writer, r *survival.Report) {
	for _, left := range []struct {
		what string
		n    func(survival.Figure) int
	}{
		{"litters too young", func(f survival.Figure) int { return f.Young }},
		{"litters closed before, with kits left", func(f survival.Figure) int { return f.Closed }},
		{"litters of which nobody wrote for ten weeks, and never closed", func(f survival.Figure) int { return f.OpenForLong }},
		{"litters whose kits nobody counted at birth", func(f survival.Figure) int { return f.Uncounted }},
		{"litters without a kit to lose", func(f survival.Figure) int { return f.NoKits }},
	} {
		var parts []string
		for i, f := range r.All.Days {
			if n := left.n(f); n > 0 {
				parts = append(parts, fmt.Sprintf("%d %s", n, []string{"to day 3", "to day 10", "to day 21", "to weaning"}[i]))
			}
		}
		if first := left.n(r.All.Days[0]); first > 0 && !slices.ContainsFunc(r.All.Days, func(f survival.Figure) bool { return left.n(f) != first }) {
			parts = []string{fmt.Sprintf("%d to every day", first)}
		}
		if len(parts) > 0 {
			more := ""
			if left.what == "litters too young" && left.n(r.All.Days[3]) > 0 {
				more = fmt.Sprintf(" (weaning counts from day %d on)", r.WeanedFrom)
			}
			wrap(out, "- ", fmt.Sprintf("Left out, %s: %s%s.", left.what, strings.Join(parts, ", "), more))
		}
	}
	if n := r.All.Days[3].Missing; n > 0 {
		wrap(out, "- ", fmt.Sprintf("%s missing when kits were counted, and nobody wrote why: counted as dead from then on, and as alive before.", count(n, "kit")))
	}
}
