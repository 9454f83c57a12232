package main

import (
	"fmt"
	"net/url"
	"strings"
	"text/tabwriter"
	"time"

	"nestmon/thresholds/book"
)

func flagAll(c *litterCall) { c.fs.BoolVar(&c.all, "all", false, "those too that are over") }

// ask gets an answer of the daemon and prints it, as JSON or by show.
func ask[T any](c *litterCall, what string, show func(T) error) error {
	var answer T
	if err := c.door.get(c.ctx, what, &answer); err != nil {
		return err
	}
	if c.json {
		return printJSON(c.std.out, answer)
	}
	return show(answer)
}

func listLitters(c *litterCall) error {
	what := "/control/litters"
	if c.all {
		what += "?all=1"
	}
	return ask(c, what, func(rows []litterRow) error {
		if len(rows) == 0 {
			fmt.Fprintln(c.std.out, "No litter is open. Enter one with: nestmon litter bred --nest N --doe NAME --on DAY. Those that are over: nestmon litter list --all")
			return nil
		}
		var views []book.View
		due := map[int64]string{}
		for _, r := range rows {
			views = append(views, r.View)
			for _, name := range r.Due {
				due[r.Litter] = strings.TrimPrefix(due[r.Litter]+", "+strings.TrimSuffix(string(name), "-due"), ", ")
			}
		}
		return c.table(views, due)
	})
}

// table prints litters, one a line.
func (c *litterCall) table(views []book.View, due map[int64]string) error {
	loc := c.cfg.location()
	w := tabwriter.NewWriter(c.std.out, 0, 0, 2, ' ', 0)
	last := "ended"
	if due != nil {
		last += "\tdue"
	}
	fmt.Fprintln(w, "litter\tnest\tdoe\tbred\tkindled\tday\talive\t"+last)
	for _, v := range views {
		fmt.Fprintf(w, "%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s", v.Litter, v.Nest, dash(v.Doe), dayOf(v.Bred, loc), dayOf(v.Kindled, loc), ageOf(v), dash(v.Count()), endOf(v, loc))
		if due != nil {
			fmt.Fprintf(w, "\t%s", due[v.Litter])
		}
		fmt.Fprintln(w)
	}
	return w.Flush()
}

func dash(text string) string {
	if text == "" {
		return "-"
	}
	return text
}

func dayOf(t *time.Time, loc *time.Location) string {
	if t == nil {
		return "-"
	}
	return t.In(loc).Format(time.DateOnly)
}

// ageOf is the day of the litter, or of the pregnancy.
func ageOf(v book.View) string {
	switch {
	case v.Day == nil:
		return "-"
	case v.Kindled == nil:
		return fmt.Sprintf("bred %d", *v.Day)
	}
	return fmt.Sprint(*v.Day)
}

func endOf(v book.View, loc *time.Location) string {
	switch {
	case v.Failed:
		return dayOf(v.Ended, loc) + " did not kindle"
	case v.Weaned != nil:
		return dayOf(v.Weaned, loc) + " weaned"
	}
	return dayOf(v.Ended, loc)
}

func showLitter(c *litterCall) error {
	q, err := c.query()
	if err != nil {
		return err
	}
	return ask(c, "/control/litter?"+q, func(a storyAnswer) error {
		who := a.Who()
		fmt.Fprintf(c.std.out, "%s%s. %s\n", strings.ToUpper(who[:1])+who[1:], c.since(a.View), a.Stands)
		return c.tell(a.Entries, false)
	})
}

// since says how far the litter is.
func (c *litterCall) since(v book.View) string {
	switch {
	case v.Day == nil:
		return ""
	case v.Kindled == nil:
		return fmt.Sprintf(", day %d after breeding", *v.Day)
	}
	return fmt.Sprintf(", day %d", *v.Day)
}

// tell prints entries, one a line, and marks those that no longer count.
func (c *litterCall) tell(entries []book.Told, withLitter bool) error {
	w := tabwriter.NewWriter(c.std.out, 0, 0, 2, ' ', 0)
	for _, e := range entries {
		fmt.Fprintf(w, "%d\t%s\t", e.ID, e.When(c.cfg.location()))
		if withLitter && e.Litter != 0 {
			fmt.Fprintf(w, "litter %d", e.Litter)
		}
		if withLitter {
			fmt.Fprint(w, "\t")
		}
		fmt.Fprint(w, e.Say(""))
		if e.Replaces != 0 && e.What != book.Struck {
			fmt.Fprintf(w, " [in place of entry %d]", e.Replaces)
		}
		if e.ReplacedBy != 0 {
			fmt.Fprintf(w, " [does not count: entry %d]", e.ReplacedBy)
		}
		if e.By != "" {
			fmt.Fprintf(w, "\tby %s", e.By)
		}
		fmt.Fprintln(w)
	}
	return w.Flush()
}

func showDoe(c *litterCall) error {
	return ask(c, "/control/doe?"+url.Values{"doe": {c.arg}}.Encode(), func(a doeAnswer) error {
		weaned := ""
		if a.Weaned > 0 {
			weaned = fmt.Sprintf(" At weaning %d lived, in %d that were counted.", a.Alive, a.Weaned)
		}
		fmt.Fprintf(c.std.out, "%s: %s, %d kindled, %d born alive in the %d that were counted, %d born dead.%s\n",
			a.Doe, count(a.Sum.Litters, "litter"), a.Kindled, a.Born, a.Counted, a.Dead, weaned)
		var lost []string
		for _, cause := range book.Causes {
			if n := a.Lost[cause]; n > 0 {
				lost = append(lost, fmt.Sprintf("%d %s", n, strings.ReplaceAll(string(cause), "-", " ")))
			}
		}
		if len(lost) > 0 {
			fmt.Fprintf(c.std.out, "Lost: %s.\n", strings.Join(lost, ", "))
		}
		return c.table(a.History, nil)
	})
}

func showNest(c *litterCall) error {
	return ask(c, "/control/nest?"+url.Values{"nest": {c.arg}}.Encode(), func(a nestAnswer) error {
		if len(a.Entries) == 0 {
			fmt.Fprintf(c.std.out, "Nothing was ever written about nest %s.\n", a.Nest)
			return nil
		}
		if err := c.table(a.Litters, nil); err != nil {
			return err
		}
		fmt.Fprintln(c.std.out)
		return c.tell(a.Entries, true)
	})
}

func showPartners(c *litterCall) error {
	q, err := c.query()
	if err != nil {
		return err
	}
	return ask(c, "/control/partners?"+q, func(a partnersAnswer) error {
		who := a.Of.Who()
		if len(a.Partners) == 0 {
			fmt.Fprintf(c.std.out, "No litter with kits was born within three days of %s.\n", who)
			return nil
		}
		fmt.Fprintf(c.std.out, "Kits of %s, %s alive, can be fostered to:\n", who, dash(a.Of.Count()))
		return c.table(a.Partners, nil)
	})
}
