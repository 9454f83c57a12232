package main

import (
	"fmt"
	"net/url"
	"slices"
	"strconv"

	"nestmon/thresholds/book"
)

// enterSaid writes what the flags say as one entry.
func enterSaid(c *litterCall) error { return c.enter("/control/enter", true) }

// confirm writes the kindling that the daemon noticed.
func confirm(c *litterCall) error { return c.enter("/control/confirm", false) }

func (c *litterCall) enter(door string, list bool) error {
	e, err := c.entry()
	if err != nil {
		return err
	}
	e.Nest = c.nest
	if c.litter != "" {
		if e.Litter, err = strconv.ParseInt(c.litter, 10, 64); err != nil || e.Litter < 1 {
			return fmt.Errorf("--litter %q is not a litter's number; 'nestmon litter list' has them", c.litter)
		}
	}
	if err := c.missing(e); err != nil {
		return err
	}
	var body any = e
	if list {
		body = []book.Entry{e}
	}
	return c.send(door, body)
}

// missing says what the form needs and no flag said.
func (c *litterCall) missing(e book.Entry) error {
	form := book.Forms[e.What]
	for _, f := range form.Must {
		if _, said := c.said[f]; !said && !slices.Contains(notSaid, f) {
			column, _ := book.ColumnOf(f)
			return fmt.Errorf("--%s is missing: %s", c.flagName(f), column.Help)
		}
	}
	switch {
	case e.What == book.Noted || e.Nest != "" || e.Litter != 0 && slices.Contains(form.Must, book.InLitter) && e.What != book.Bred:
		return nil
	case slices.Contains(form.Must, book.InLitter) && e.What != book.Bred:
		return fmt.Errorf("--nest is missing; name the nest as the configuration does, or the litter with --litter")
	}
	return fmt.Errorf("--nest is missing; name the nest as the configuration does")
}

func flagFoster(c *litterCall) {
	c.fs.StringVar(&c.from, "from", "", "the `nest` the kits leave")
	c.fs.StringVar(&c.to, "to", "", "the `nest` they come into")
	for _, f := range []book.Field{book.TheTime, book.KitsField, book.TheNote} {
		c.flag(f)
	}
}

func foster(c *litterCall) error {
	e, err := c.entry()
	switch {
	case err != nil:
		return err
	case c.from == "" || c.to == "":
		return fmt.Errorf("--from and --to are both needed; name the nests as the configuration does")
	case e.Kits == nil:
		return fmt.Errorf("--kits is missing: how many go from one nest to the other")
	}
	return c.send("/control/foster", fostering{From: c.from, To: c.to, Entry: e})
}

func flagNote(c *litterCall) { c.flag(book.TheNote) }

func flagCorrect(c *litterCall) {
	for _, column := range book.Columns {
		switch column.Name {
		case book.TheNumber, book.TheWhat, book.TheBy, book.TheEntry, book.WithOther:
		case book.KitsField:
			c.flag(column.Name)
			c.fs.Func("born", "kits born alive, the same as --kits", func(text string) error { return c.fs.Set("kits", text) })
		case book.InNest, book.TheKind, book.TheSeason, book.TheChore:
			c.fs.Func(string(column.Name), column.Help, func(text string) error { c.said[column.Name] = text; return nil })
		default:
			c.flag(column.Name)
		}
	}
}

func correct(c *litterCall) error {
	if len(c.said) == 0 {
		return fmt.Errorf("nothing to correct is said; write what is to change, such as --kits 3")
	}
	if _, err := c.entry(); err != nil {
		return err
	}
	return c.replace(correction{Set: c.said})
}

func strike(c *litterCall) error { return c.replace(correction{Set: c.said, Strike: true}) }

func (c *litterCall) replace(with correction) (err error) {
	if with.Entry, err = strconv.ParseInt(c.arg, 10, 64); err != nil || with.Entry < 1 {
		return fmt.Errorf("%q is not an entry's number; 'nestmon litter show' has them", c.arg)
	}
	return c.send("/control/correct", with)
}

// send asks the daemon to write, and says what was written.
func (c *litterCall) send(door string, body any) error {
	var saved enterAnswer
	if err := c.door.post(c.ctx, door, body, &saved); err != nil {
		return err
	}
	c.doubt(saved.Doubts)
	if c.json {
		return printJSON(c.std.out, saved)
	}
	for _, e := range saved.Stored {
		fmt.Fprintln(c.std.out, c.confirmation(e, saved.Litters))
	}
	return nil
}

func (c *litterCall) doubt(doubts []string) {
	for _, d := range doubts {
		fmt.Fprintf(c.std.err, "unusual: %s\n", d)
	}
}

// confirmation is what was written, and what it means now.
func (c *litterCall) confirmation(e book.Entry, litters []book.View) string {
	who, now := "", ""
	for _, v := range litters {
		if v.Litter == e.Litter {
			who, now = v.Who()+": ", " "+v.Stands
		}
	}
	if who == "" && e.Litter != 0 {
		who = fmt.Sprintf("litter %d: ", e.Litter)
	} else if who == "" && e.Nest != "" {
		who = "nest " + e.Nest + ": "
	}
	place := ""
	if e.Replaces != 0 {
		place = fmt.Sprintf(", in place of entry %d", e.Replaces)
	}
	if e.What == book.Struck {
		place = ""
	}
	return fmt.Sprintf("Saved as entry %d%s: %s%s.%s", e.ID, place, who, e.Say(e.When(c.cfg.location())), now)
}

// query names the litter of a question.
func (c *litterCall) query() (string, error) {
	if c.nest == "" && c.litter == "" {
		return "", fmt.Errorf("--nest is missing; name the nest as the configuration does, or the litter with --litter")
	}
	return url.Values{"nest": {c.nest}, "litter": {c.litter}}.Encode(), nil
}
