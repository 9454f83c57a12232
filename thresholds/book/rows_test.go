package book_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"nestmon/thresholds/book"
)

func bookOf(t *testing.T, entries ...book.Entry) *book.Book {
	t.Helper()
	b, _, _, err := book.New(rules, nil).With(today, entries...)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func fostered() []book.Entry {
	return append(both(), entry(book.FosteredOut, 34, of(1), with(2), kits(2)), entry(book.FosteredIn, 34, of(2), with(1), kits(2)))
}

// Rows are what a form sends: they are read as flags and files are, and an entry that they change keeps what they do not say.
func TestRowsBecomeEntries(t *testing.T) {
	b := bookOf(t, fostered()...)
	made, from, err := b.Read([]book.Row{
		{book.TheWhat: "lost", book.InLitter: "1", book.KitsField: "2", book.TheCause: "chilled", book.TheTime: "2031-04-10T06:30"},
		{book.Earlier: "5", book.KitsField: "1", book.TheNote: "counted again"},
		{book.TheWhat: "struck", book.Earlier: "1", book.TheNote: "another doe"},
	})
	if err != nil || len(made) != 4 || !slices.Equal(from, []int{0, 1, 1, 2}) {
		t.Fatalf("%+v of rows %v, %v", made, from, err)
	}
	if e := made[0]; e.What != book.Lost || e.Litter != 1 || *e.Kits != 2 || e.Cause != book.Chilled || e.Day || e.At.Hour() != 6 {
		t.Errorf("%+v", e)
	}
	for i, want := range []struct {
		what     book.What
		replaces int64
	}{{book.FosteredOut, 5}, {book.FosteredIn, 6}} {
		if e := made[1+i]; e.What != want.what || e.Replaces != want.replaces || *e.Kits != 1 || !e.At.Equal(day(34)) || e.Note != "counted again" || e.ID != 0 {
			t.Errorf("side %d of the fostering: %+v", i, e)
		}
	}
	if e := made[3]; e.What != book.Struck || e.Replaces != 1 || e.Note != "another doe" || !e.At.Equal(day(0)) {
		t.Errorf("%+v", e)
	}
	for _, e := range b.Entries() {
		again, _, err := b.Read([]book.Row{withoutGiven(b.Row(e))})
		if err != nil || again[0].Say("") != e.Say("") || !again[0].At.Equal(e.At) || again[0].Day != e.Day {
			t.Errorf("%+v read again is %+v, %v", e, again, err)
		}
	}
}

func withoutGiven(r book.Row) book.Row {
	for _, f := range []book.Field{book.TheNumber, book.TheBy, book.TheEntry} {
		delete(r, f)
	}
	return r
}

// A refusal says which row it is about, and what of it to look at first.
func TestRowsThatAreRefused(t *testing.T) {
	b := bookOf(t, fostered()...)
	good := book.Row{book.TheWhat: "noted", book.TheNote: "calm", book.InNest: "oak", book.TheTime: "2031-04-10"}
	for name, c := range map[string]struct {
		row   book.Row
		field book.Field
		why   string
	}{
		"no number":                 {book.Row{book.TheWhat: "lost", book.InLitter: "1", book.KitsField: "two"}, book.KitsField, "not a whole number"},
		"an unknown column":         {book.Row{book.TheWhat: "noted", "colour": "grey"}, "colour", "does not say"},
		"by somebody else":          {book.Row{book.TheWhat: "noted", book.TheBy: "anna"}, book.TheBy, "the book's to write"},
		"a time that is none":       {book.Row{book.TheWhat: "noted", book.TheTime: "03.04.2031"}, book.TheTime, "two ways"},
		"an entry that is none":     {book.Row{book.Earlier: "77", book.KitsField: "1"}, book.Earlier, "there is no entry 77"},
		"into something else":       {book.Row{book.TheWhat: "lost", book.Earlier: "5"}, book.TheWhat, "strike it"},
		"a unit that is none":       {book.Row{book.TheWhat: "weighed", book.InGrams: "3 stones"}, book.InGrams, "unknown unit"},
		"a number that is negative": {book.Row{book.TheWhat: "lost", book.InLitter: "-1"}, book.InLitter, "not a number of the book"},
	} {
		_, _, err := b.Read([]book.Row{good, c.row})
		no, ok := errors.AsType[*book.Refusal](err)
		if !ok || no.Row != 1 || no.Field != c.field || !strings.Contains(no.Why, c.why) {
			t.Errorf("%s: %#v", name, err)
		}
	}
	for name, c := range map[string]struct {
		entry book.Entry
		field book.Field
	}{
		"more than there are": {entry(book.Lost, 40, of(1), kits(9), cause(book.Chilled)), book.KitsField},
		"before it was born":  {entry(book.Lost, 30, of(1), kits(1), cause(book.Chilled)), book.TheTime},
		"no cause":            {entry(book.Lost, 40, of(1), kits(1)), book.TheCause},
		"a nest that is none": {entry(book.Moved, 40, of(1), to("ash")), book.ToNest},
		"tomorrow":            {entry(book.Lost, 90, of(1), kits(1), cause(book.Chilled)), book.TheTime},
		"a note too long":     {entry(book.Noted, 40, nest("oak"), func(e *book.Entry) { e.Note = strings.Repeat("x", 1001) }), book.TheNote},
	} {
		_, _, _, err := b.With(today, c.entry)
		if no, ok := errors.AsType[*book.Refusal](err); !ok || no.Field != c.field {
			t.Errorf("%s: %#v", name, err)
		}
	}
}

// Whatever is offered as a next step can be entered.
func TestStepsThatAreOfferedCanBeEntered(t *testing.T) {
	weaned := append(fostered(), entry(book.Collected, 55, of(1), kits(6)), entry(book.Weaned, 59, of(1), kits(6)))
	offered := map[book.What]bool{}
	for name, c := range map[string]struct {
		had    []book.Entry
		litter int64
		not    []book.What
	}{
		"bred":      {[]book.Entry{entry(book.Bred, 40, of(1), nest("oak"), doe("Hazel"))}, 1, []book.What{book.Lost, book.Weaned, book.Sold}},
		"palpated":  {[]book.Entry{entry(book.Bred, 40, of(1), nest("oak"), doe("Hazel")), entry(book.Palpated, 52, of(1), func(e *book.Entry) { e.Found = book.Pregnant })}, 1, []book.What{book.Palpated}},
		"nursing":   {both(), 1, []book.What{book.Kindled, book.Palpated, book.DidNotKindle}},
		"alone":     {nursing(), 1, []book.What{book.FosteredOut}},
		"young":     {[]book.Entry{entry(book.Kindled, 55, of(1), nest("oak"), kits(8))}, 1, []book.What{book.Weaned}},
		"weaned":    {weaned, 1, []book.What{book.Weaned, book.Lost, book.Moved}},
		"uncounted": {[]book.Entry{entry(book.Kindled, 35, of(1), nest("oak"))}, 1, nil},
		"all sold":  {append(slices.Clone(weaned), entry(book.Sold, 59, of(1), kits(6))), 1, []book.What{book.Sold, book.Kept}},
		"failed":    {[]book.Entry{entry(book.Bred, 20, of(1), nest("oak")), entry(book.DidNotKindle, 59, of(1))}, 1, []book.What{book.Kindled, book.Noted}},
	} {
		b := bookOf(t, c.had...)
		steps := b.Steps(b.Record(c.litter), today)
		for _, what := range steps {
			offered[what] = true
			if slices.Contains(c.not, what) {
				t.Errorf("%s: %s is offered", name, what)
			}
			e := book.Entry{What: what, Litter: c.litter, At: today}
			for _, f := range book.Forms[what].Must {
				fill(&e, f)
			}
			add := []book.Entry{e}
			if what == book.FosteredOut {
				add = append(add, entry(book.FosteredIn, 60, of(2), with(1), kits(1)))
			}
			if _, _, _, err := b.With(today, add...); err != nil {
				t.Errorf("%s: %s is offered and refused: %v", name, what, err)
			}
		}
	}
	for _, what := range []book.What{book.Palpated, book.BoxIn, book.Kindled, book.DidNotKindle, book.Lost, book.FosteredOut, book.Weighed, book.Moved, book.Collected, book.Weaned, book.Sold, book.Kept, book.Ended, book.Noted} {
		if !offered[what] {
			t.Errorf("%s is never offered", what)
		}
	}
}

// fill says something in a field.
func fill(e *book.Entry, f book.Field) {
	one := 1
	switch f {
	case book.KitsField:
		e.Kits = &one
	case book.TheCause:
		e.Cause = book.Chilled
	case book.TheFound:
		e.Found = book.Unsure
	case book.InGrams:
		e.Grams = 300
	case book.InNest:
		e.Nest = "oak"
	case book.ToNest:
		e.To = "tote"
	case book.WithOther:
		e.With = 2
	case book.TheNote:
		e.Note = "calm"
	}
}
