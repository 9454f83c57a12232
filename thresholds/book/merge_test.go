package book_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
)

// written is a book of many litters with everything that can be written, corrected and struck, entered one after the other by several people
// at random. What is refused is left out.
func written(t *testing.T, random *rand.Rand, entries int) *book.Book {
	t.Helper()
	b := book.New(rules, nil)
	now := day(0)
	pick := func(from []string) string { return from[random.IntN(len(from))] }
	count := func(most int) *int { n := random.IntN(most); return &n }
	for tries := 0; len(b.Entries()) < entries && tries < 100*entries; tries++ {
		now = now.Add(time.Duration(random.IntN(20)) * time.Hour).Add(time.Duration(random.IntN(1e9)))
		e := book.Entry{
			What: book.Whats[random.IntN(len(book.Whats))], At: now.Add(-time.Duration(random.IntN(72)) * time.Hour), Nest: pick([]string{"oak", "elm", "tote"}),
			By: pick([]string{"", "ann", "bo, by command"}), Note: pick([]string{"", "", "quiet; \"warm\", dry", "ünwell"}),
		}
		if random.IntN(2) == 0 {
			y, m, d := e.At.Date()
			e.At, e.Day = time.Date(y, m, d, 0, 0, 0, 0, time.UTC), true
		}
		for _, f := range slices.Concat(book.Forms[e.What].Must, book.Forms[e.What].May) {
			switch f {
			case book.TheDoe:
				e.Doe = pick([]string{"", "Hazel", "Fern, the old", "Moss"})
			case book.KitsField:
				e.Kits = count(9)
			case book.DeadField:
				e.Dead = count(3)
			case book.TheCause:
				e.Cause = book.Causes[random.IntN(len(book.Causes))]
			case book.TheFound:
				e.Found = book.Pregnant
			case book.InGrams:
				e.Grams = float64(random.IntN(400000)) / 977
			case book.OfBedding:
				e.Bedding = pick([]string{"", "straw", "hay, then fur"})
			case book.DepthCM:
				e.Depth = float64(random.IntN(20)) * 2.54
			case book.TheKind:
				e.Kind = brood.MetalBox
			case book.TheSeason:
				e.Season = brood.Winter
			case book.TheChore:
				e.Chore = alarm.BeddingDue
			case book.ToNest:
				e.To = pick([]string{"oak", "elm", "tote"})
			}
		}
		add := []book.Entry{e}
		switch old := b.Entries(); {
		case e.What == book.Struck && len(old) > 0, len(old) > 0 && random.IntN(6) == 0:
			was := old[random.IntN(len(old))]
			fixed := was
			fixed.ID, fixed.Replaces, fixed.Note, fixed.At = 0, was.ID, "looked again", was.At.Add(-time.Duration(random.IntN(5))*24*time.Hour)
			if e.What == book.Struck {
				fixed = book.Entry{What: book.Struck, Litter: was.Litter, Nest: was.Nest, At: was.At, Day: was.Day, Replaces: was.ID}
			}
			add = []book.Entry{fixed}
		case e.What == book.FosteredOut || e.What == book.FosteredIn:
			from, to := b.About(book.FosteredOut, "oak"), b.About(book.FosteredIn, "elm")
			if from == nil || to == nil {
				continue
			}
			add[0].What, add[0].Litter, add[0].With = book.FosteredOut, from.ID, to.ID
			in := add[0]
			in.What, in.Litter, in.With, in.Nest = book.FosteredIn, to.ID, from.ID, "elm"
			add = append(add, in)
		}
		var err error
		for i := range add {
			if add[i], err = b.Place(add[i]); err != nil {
				break
			}
		}
		if more, _, _, no := b.With(now, add...); err == nil && no == nil {
			b = more
		}
	}
	if len(b.Entries()) < entries {
		t.Fatalf("only %d entries could be written", len(b.Entries()))
	}
	return b
}

// texts are the entries as their columns.
func texts(entries []book.Entry) (out []string) {
	for _, e := range entries {
		row := ""
		for _, c := range book.Columns {
			row += c.Get(&e, time.UTC) + "|"
		}
		out = append(out, row)
	}
	return out
}

// read makes entries of the columns again.
func read(t *testing.T, rows []string) (out []book.Entry) {
	t.Helper()
	for _, row := range rows {
		var e book.Entry
		for i, text := range strings.Split(row, "|")[:len(book.Columns)] {
			if err := book.Columns[i].Set(&e, text, time.UTC); err != nil && text != "" {
				t.Fatalf("%s %q: %v", book.Columns[i].Name, text, err)
			}
		}
		out = append(out, e)
	}
	return out
}

// What an entry says and no column knows would be lost on its way out and in.
func TestEveryFieldHasItsColumn(t *testing.T) {
	n := 3
	full := book.Entry{
		ID: 1, Litter: 2, What: book.Lost, At: day(3).Add(1), Nest: "oak", To: "elm", With: 4, Doe: "Hazel", Buck: "Moss", Kits: &n, Dead: &n, Cause: book.Unfed,
		Found: book.Unsure, Grams: 412.5, Bedding: "straw", Depth: 7.62, Kind: brood.MetalBox, Season: brood.Summer, Chore: alarm.BeddingDue, Note: "calm",
		By: "ann", Entered: day(4).Add(1), Replaces: 5,
	}
	for _, e := range []book.Entry{full, entry(book.Ended, 3)} {
		if got := read(t, texts([]book.Entry{e}))[0]; !reflect.DeepEqual(got, e) {
			t.Errorf("%+v, want %+v", got, e)
		}
	}
	for i := range reflect.TypeFor[book.Entry]().NumField() {
		if f := reflect.TypeFor[book.Entry]().Field(i); f.Name != "Day" && reflect.ValueOf(full).Field(i).IsZero() {
			t.Errorf("%s is not tried here", f.Name)
		}
	}
}

// What people write after a flag or in a cell, and what is made of it.
func TestColumnsRead(t *testing.T) {
	for _, row := range []struct {
		column     book.Field
		text, want string // of the column again; an error that holds it where it begins with !
	}{
		{book.DepthCM, "3in", "7.62"},
		{book.DepthCM, "8 cm", "8"},
		{book.DepthCM, "80mm", "8"},
		{book.DepthCM, "8", "8"},
		{book.DepthCM, "3 inch", "!unknown unit"},
		{book.DepthCM, "deep", "!not a measure"},
		{book.DepthCM, "7,5cm", "!as in 7.5"},
		{book.InGrams, "1.5kg", "1500"},
		{book.InGrams, "1lb", "453.59237"},
		{book.KitsField, "8", "8"},
		{book.KitsField, "eight", "!not a whole number"},
		{book.InLitter, "0", "!whole number from 1"},
		{book.InLitter, "-2", "!whole number from 1"},
		{book.TheTime, "2031-04-03", "2031-04-03"},
		{book.TheTime, "2031-04-03 06:30", "2031-04-03T06:30:00Z"},
		{book.TheTime, "2031-04-03T06:30:00-07:00", "2031-04-03T13:30:00Z"},
		{book.TheTime, "3/4/2031", "!two ways"},
		{book.TheTime, "3.4.2031", "!two ways"},
		{book.TheTime, "2031-02-30", "!not a day"},
		{book.TheDoe, " Hazel ", "Hazel"},
	} {
		c, _ := book.ColumnOf(row.column)
		var e book.Entry
		err := c.Set(&e, row.text, time.UTC)
		if refused, no := strings.CutPrefix(row.want, "!"); no {
			if err == nil || !strings.Contains(err.Error(), refused) {
				t.Errorf("%s %q: %v, want %q", row.column, row.text, err, refused)
			}
		} else if got := c.Get(&e, time.UTC); err != nil || got != row.want {
			t.Errorf("%s %q: %q, %v; want %q", row.column, row.text, got, err, row.want)
		}
	}
}

func as(by string) func(book.Entry) book.Entry {
	return func(e book.Entry) book.Entry { e.By = by; return e }
}

// A book written out and read into an empty one is the same book; read into itself it changes nothing; read into another twice, the second
// time changes nothing either, and what the other book held stays.
func TestMergeGivesTheSameBook(t *testing.T) {
	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 0))
	for range 25 {
		b, other := written(t, random, 60), written(t, random, 30)
		rows := read(t, texts(b.Entries()))
		if got, want := texts(rows), texts(b.Entries()); !reflect.DeepEqual(got, want) {
			t.Fatalf("seed %d: the text says\n%q, want\n%q", seed, got, want)
		}
		now := later(b, other)
		shuffled := slices.Clone(rows)
		random.Shuffle(len(rows), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		m, err := book.New(rules, nil).Merge(now, shuffled, as("nobody"))
		if err != nil || m.There != 0 || m.Litters < len(b.Records()) {
			t.Fatalf("seed %d: %+v, %v", seed, m, err)
		}
		if got, want := texts(m.Book.Entries()), texts(b.Entries()); !reflect.DeepEqual(got, want) {
			t.Fatalf("seed %d:\n%q, want\n%q", seed, got, want)
		}
		if got, want := shown(m.Book, now), shown(b, now); got != want {
			t.Fatalf("seed %d:\n%s, want\n%s", seed, got, want)
		}
		if again, err := b.Merge(now, rows, as("nobody")); err != nil || len(again.Added) != 0 || again.There != len(rows) {
			t.Fatalf("seed %d: into itself: %+v, %v", seed, again, err)
		}
		m, err = other.Merge(now, rows, as("nobody"))
		var no *book.Refusal
		if errors.As(err, &no) {
			continue // their litters lie in the same nests at the same time
		}
		if err != nil || len(m.Added) != len(rows) {
			t.Fatalf("seed %d: into another: %+v, %v", seed, m, err)
		}
		if got := texts(m.Book.Entries()[:len(other.Entries())]); !reflect.DeepEqual(got, texts(other.Entries())) {
			t.Fatalf("seed %d: the other book has changed: %q", seed, got)
		}
		if again, err := m.Book.Merge(now, rows, as("nobody")); err != nil || len(again.Added) != 0 {
			t.Fatalf("seed %d: into another twice: %+v, %v", seed, again.Added, err)
		}
	}
}

func later(books ...*book.Book) time.Time {
	now := today
	for _, b := range books {
		for _, e := range b.Entries() {
			if e.Entered.After(now) {
				now = e.Entered
			}
		}
	}
	return now
}

func shown(b *book.Book, now time.Time) (all string) {
	for _, r := range b.Records() {
		v := b.View(r, now)
		all += fmt.Sprintln(v.Who(), v.Count(), v.Stands, v.Lost, texts(r.Entries))
		for _, p := range b.Partners(r) {
			all += fmt.Sprintln("partner", p.ID)
		}
	}
	return all
}

// What another board wrote gets numbers that are free here, and what refers to it follows.
func TestMergeRenumbers(t *testing.T) {
	here := write(t, both()...)
	there := book.New(book.Rules{Location: time.UTC, Nests: map[string]brood.Kind{"ash": brood.WoodenBox, "fir": brood.WoodenBox}}, nil)
	there, _, _, err := there.With(today.Add(-time.Minute),
		entry(book.Bred, 0, nest("ash"), of(1), doe("Moss")), entry(book.Kindled, 31, nest("ash"), of(1), kits(9)),
		entry(book.Bred, 0, nest("fir"), of(2), doe("Reed")), entry(book.Kindled, 31, nest("fir"), of(2), kits(4)),
		entry(book.FosteredOut, 33, of(1), with(2), kits(2)), entry(book.FosteredIn, 33, of(2), with(1), kits(2)),
	)
	if err != nil {
		t.Fatal(err)
	}
	there, _, _, err = there.With(today, entry(book.Kindled, 31, nest("ash"), of(1), kits(8), replaces(2)),
		entry(book.Ended, 55, of(1)), entry(book.Ended, 55, of(2)))
	if err != nil {
		t.Fatal(err)
	}
	m, err := here.Merge(today, there.Entries(), as("nobody"))
	if err != nil || m.Litters != 2 || len(m.Added) != 9 {
		t.Fatalf("%+v, %v", m, err)
	}
	r := m.Book.Record(3)
	if r == nil || r.Doe != "Moss" || *r.Born != 8 || m.Book.ReplacedBy(6) != 11 {
		t.Errorf("%+v; entry 6 is replaced by %d", r, m.Book.ReplacedBy(6))
	}
	if n, _ := m.Book.Record(4).Alive(today, time.UTC); n != 6 {
		t.Errorf("%d kits of the other", n)
	}
	if len(m.Book.Record(1).Entries) != 2 {
		t.Errorf("what was here has changed: %+v", m.Book.Record(1))
	}
}

// A file written by hand says only what somebody knows.
func TestMergeByHand(t *testing.T) {
	rows := []book.Entry{
		entry(book.Bred, 0, nest("oak"), doe("Hazel")), entry(book.Kindled, 31, nest("oak"), kits(8)),
		entry(book.Lost, 33, nest("oak"), kits(1), cause(book.Chilled)), entry(book.Weaned, 45, nest("oak"), kits(7)),
		entry(book.Bred, 46, nest("oak"), doe("Fern")), entry(book.Palpated, 58, nest("oak"), func(e *book.Entry) { e.Found = book.Pregnant }),
	}
	m, err := book.New(rules, nil).Merge(today, rows, as("ann"))
	if err != nil || len(m.Added) != 6 || m.Litters != 2 || m.Added[5].Litter != 2 || m.Added[5].By != "ann" || !m.Added[5].Entered.Equal(today) {
		t.Fatalf("%+v, %v", m, err)
	}
	again, err := m.Book.Merge(today, rows, as("bo"))
	if err != nil || len(again.Added) != 0 || again.There != 6 {
		t.Errorf("again: %+v, %v", again, err)
	}
	more := append(slices.Clone(m.Book.Entries()), entry(book.Lost, 34, of(1), kits(1), cause(book.Crushed)),
		entry(book.Lost, 33, kits(2), cause(book.Chilled), replaces(3)))
	if m, err = m.Book.Merge(today, more, as("ann")); err == nil {
		t.Errorf("9 of 8 gone, and nobody says so: %+v", m.Added)
	}
	more[6] = entry(book.BoxIn, 59, of(2))
	more[7].Kits = more[2].Kits
	if m, err = book.New(rules, more[:6]).Merge(today, more, as("ann")); err != nil || len(m.Added) != 2 || m.Added[0].Nest != "oak" || m.Added[1].Litter != 1 {
		t.Errorf("rows added to a file that was exported: %+v, %v", m.Added, err)
	}
}

func TestMergeRefuses(t *testing.T) {
	had := write(t, both()...)
	out := had.Entries()
	edited := slices.Clone(out)
	edited[1].Kits = out[3].Kits
	twice := append(slices.Clone(out), out[0])
	for name, c := range map[string]struct {
		rows []book.Entry
		row  int
		want string
	}{
		"a row that was edited":       {edited, 1, "says something else: kindled on 2031-04-01, 8 alive"},
		"a number twice":              {twice, 4, "entry 1 is there twice"},
		"what is false":               {append(slices.Clone(out), entry(book.Lost, 34, nest("oak"), kits(9), cause(book.Other))), 4, "only 8 of litter 1"},
		"before what is there":        {[]book.Entry{entry(book.Noted, 1, of(1), func(e *book.Entry) { e.Note = "x" }), entry(book.Weaned, 30, of(1))}, 1, "before litter 1 was born"},
		"an empty nest":               {[]book.Entry{entry(book.Lost, 34, nest("tote"), kits(1), cause(book.Other))}, 0, "holds no open litter"},
		"without a day":               {[]book.Entry{{What: book.CarriedIn, Nest: "oak"}}, 0, "on no day"},
		"half of a fostering":         {[]book.Entry{entry(book.FosteredOut, 34, of(1), with(2), kits(1))}, 0, "write both sides alike"},
		"written down in the future":  {[]book.Entry{{ID: 9, What: book.CarriedIn, Nest: "oak", At: day(3), Entered: day(99)}}, 0, "in the future"},
		"a litter with no beginning":  {[]book.Entry{{ID: 9, Litter: 7, What: book.BoxIn, Nest: "oak", At: day(3), Entered: today}}, 0, "neither a breeding"},
		"a correction of what is not": {[]book.Entry{entry(book.Lost, 34, of(1), kits(1), cause(book.Other), replaces(99))}, 0, "no entry 99"},
	} {
		before := texts(had.Entries())
		m, err := had.Merge(today, c.rows, as("ann"))
		var no *book.Refusal
		if !errors.As(err, &no) || no.Row != c.row || !strings.Contains(no.Why, c.want) {
			t.Errorf("%s: %+v, %v; want row %d and %q", name, no, err, c.row, c.want)
		}
		if m.Book != nil || !reflect.DeepEqual(texts(had.Entries()), before) {
			t.Errorf("%s: the book has changed", name)
		}
	}
}
