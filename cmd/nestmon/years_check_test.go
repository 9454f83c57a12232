package main

import (
	"bytes"
	"cmp"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/tests/years/yearstest"
	"nestmon/thresholds/book"
)

// checkEntries compares all that is in the book with all that was written.
func (y *yard) checkEntries() {
	y.t.Helper()
	got := y.d.Book().Entries()
	if len(got) != len(y.story.Entries) {
		y.t.Errorf("the book has %d entries, and %d were written", len(got), len(y.story.Entries))
		return
	}
	for i, want := range y.story.Entries {
		if text := y.differs(got[i], want); text != "" {
			y.t.Errorf("entry %d: %s; got %+v, want %+v", want.Number, text, got[i], want)
		}
		if by := y.d.Book().ReplacedBy(got[i].ID); int(by) != y.story.Gone[want.Number] {
			y.t.Errorf("entry %d is replaced by %d, want %d", want.Number, by, y.story.Gone[want.Number])
		}
	}
	stored, err := y.d.archive.Entries()
	if err != nil {
		y.t.Fatal(err)
	}
	if a, b := asText(y.t, got), asText(y.t, stored); a != b {
		y.t.Error("the archive holds other entries than the book")
	}
}

func asText(t *testing.T, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// differs names what an entry says otherwise than it was written; empty where nothing. What the daemon adds is not looked at.
func (y *yard) differs(e book.Entry, s yearstest.Said) string {
	kits := func(n *int) int {
		if n == nil {
			return yearstest.Unsaid
		}
		return *n
	}
	at := "date"
	if s.Hour != yearstest.DayOnly && !e.At.Equal(s.Time(y.loc)) {
		at = "time"
	}
	litter := s.Litter
	if s.Nest == "" && s.Litter == 0 {
		litter = int(e.Litter)
	}
	for _, c := range []struct {
		name      string
		got, want any
	}{
		{"number", int(e.ID), s.Number},
		{"litter", int(e.Litter), litter},
		{"with", int(e.With), s.With},
		{"replaces", int(e.Replaces), s.Replaces},
		{"what", string(e.What), s.What},
		{"nest", e.Nest, cmp.Or(s.Nest, e.Nest)},
		{"to", e.To, s.To},
		{"doe", e.Doe, s.Doe},
		{"buck", e.Buck, s.Buck},
		{at, yearstest.On(e.At, y.loc), s.On},
		{"kits", kits(e.Kits), s.Kits},
		{"dead", kits(e.Dead), s.Dead},
		{"cause", string(e.Cause), s.Cause},
		{"found", string(e.Found), s.Found},
		{"bedding", e.Bedding, s.Bedding},
		{"depth", e.Depth, s.Depth},
		{"grams", e.Grams, s.Grams},
		{"chore", string(e.Chore), s.Chore},
		{"note", e.Note, s.Note},
		{"day alone", e.Day, s.Hour == yearstest.DayOnly},
		{"time", at, "date"},
	} {
		if !reflect.DeepEqual(c.got, c.want) {
			return c.name
		}
	}
	return ""
}

// checkLitters compares each litter of the book with the true one.
func (y *yard) checkLitters() {
	y.t.Helper()
	records := y.d.Book().Records()
	if len(records) != len(y.story.Litters) {
		y.t.Errorf("the book has %d litters, and there were %d", len(records), len(y.story.Litters))
		return
	}
	for i, want := range y.story.Litters {
		y.checkLitter(records[i], want)
	}
}

func (y *yard) checkLitter(r *book.Record, want *yearstest.Litter) {
	y.t.Helper()
	on := func(t time.Time) yearstest.Day { return yearstest.On(t, y.loc) }
	count := func(n *int) int {
		if n == nil {
			return yearstest.Unsaid
		}
		return *n
	}
	var stays []yearstest.Stay
	for _, s := range r.Stays {
		stays = append(stays, yearstest.Stay{Nest: s.Nest, From: on(s.From), Until: on(s.Until)})
	}
	sold, kept := 0, 0
	grams := map[yearstest.Day]float64{}
	for _, e := range r.Entries {
		switch e.What {
		case book.Sold:
			sold += *e.Kits
		case book.Kept:
			kept += *e.Kits
		case book.Weighed:
			grams[on(e.At)] = e.Grams
		}
	}
	for _, c := range []struct {
		name      string
		got, want any
	}{
		{"number", int(r.ID), want.Number},
		{"doe", r.Doe, want.Doe},
		{"buck", r.Buck, want.Buck},
		{"bred", on(r.Bred), want.Bred},
		{"kindled", on(r.Kindled), want.Kindled},
		{"weaned", on(r.Weaned), want.Weaned},
		{"ended", on(r.Ended), want.Ended},
		{"did not kindle", r.Failed, want.Failed},
		{"found", string(r.Found), want.Found},
		{"born", count(r.Born), want.Born},
		{"born dead", count(r.Dead), want.Dead},
		{"stays", stays, want.Stays},
		{"sold", sold, want.Sold},
		{"kept", kept, want.Kept},
		{"weights", grams, want.Grams},
	} {
		if !reflect.DeepEqual(c.got, c.want) {
			y.t.Errorf("litter %d: %s is %v, want %v", want.Number, c.name, c.got, c.want)
		}
	}
	if want.Kindled == yearstest.None {
		return
	}
	for age := range yearstest.Day(40) {
		day := want.Kindled + age
		alive, known := want.Alive(day)
		if got, is := r.Alive(day.At(12, y.loc), y.loc); known && (got != alive || !is) {
			y.t.Errorf("litter %d: %d kits on day %d, want %d", want.Number, got, age, alive)
		}
	}
}

// checkHistories compares the histories of does and nests with the true ones.
func (y *yard) checkHistories() {
	y.t.Helper()
	b := y.d.Book()
	for _, doe := range y.story.Does {
		var got, want []int
		for _, r := range b.Does(doe) {
			got = append(got, int(r.ID))
		}
		for _, l := range y.story.Litters {
			if l.Doe == doe {
				want = append(want, l.Number)
			}
		}
		if !slices.Equal(got, want) {
			y.t.Errorf("%s had litters %v, want %v", doe, got, want)
		}
	}
	for _, n := range y.story.Nests {
		got, want := map[int64]bool{}, map[int64]bool{}
		for _, e := range b.Nest(n.ID) {
			if e.Litter != 0 {
				got[e.Litter] = true
			} else if e.Nest != n.ID {
				y.t.Errorf("nest %s: %+v is about another", n.ID, e)
			}
		}
		for _, l := range y.story.Litters {
			for _, s := range l.Stays {
				if s.Nest == n.ID {
					want[int64(l.Number)] = true
				}
			}
		}
		if !reflect.DeepEqual(got, want) {
			y.t.Errorf("nest %s had litters %v, want %v", n.ID, got, want)
		}
	}
}

// checkFolded compares the book that grew entry by entry with one made of all its entries at once.
func (y *yard) checkFolded() {
	y.t.Helper()
	b := y.d.Book()
	again := book.New(b.Rules(), b.Entries())
	if !reflect.DeepEqual(again.Records(), b.Records()) {
		y.t.Error("its entries make other litters")
	}
	now := y.pace.Now()
	if asText(y.t, again.Litters(now)) != asText(y.t, b.Litters(now)) || !reflect.DeepEqual(again.Marks(), b.Marks()) {
		y.t.Error("its entries make other decisions or marks")
	}
}

// checkAnswers compares what the commands answer about litters, does and nests with the truth.
func (y *yard) checkAnswers() {
	y.t.Helper()
	var all []litterRow
	y.command(&all, "litter", "list", "--all", "--json", "--config", y.file)
	if len(all) != len(y.story.Litters) {
		y.t.Fatalf("%d litters are listed, want %d", len(all), len(y.story.Litters))
	}
	last := y.story.Days + 10
	for i, l := range y.story.Litters {
		v := all[i]
		alive, known := l.Alive(last)
		lost := 0
		for _, c := range l.Lost {
			lost += c
		}
		if v.Litter != int64(l.Number) || v.Doe != l.Doe || v.Lost != lost || v.Failed != l.Failed || (v.Ended == nil) != (l.Ended == yearstest.None) {
			y.t.Errorf("listed is %s, want litter %d of %s, %d lost, ended on %q", asText(y.t, v), l.Number, l.Doe, lost, l.Ended.Date())
		}
		if known && (v.Alive == nil || *v.Alive != alive) {
			y.t.Errorf("litter %d: %s alive, want %d", l.Number, asText(y.t, v.Alive), alive)
		}
	}
	for _, doe := range y.story.Does {
		var got doeAnswer
		y.command(&got, "litter", "doe", doe, "--json", "--config", y.file)
		var want []int
		for _, l := range y.story.Litters {
			if l.Doe == doe {
				want = append(want, l.Number)
			}
		}
		var litters []int
		for _, v := range got.History {
			litters = append(litters, int(v.Litter))
		}
		if !slices.Equal(litters, want) {
			y.t.Errorf("%s: litters %v, want %v", doe, litters, want)
		}
	}
	for _, n := range y.story.Nests {
		var got nestAnswer
		y.command(&got, "litter", "nest", n.ID, "--json", "--config", y.file)
		var want, litters []int
		for _, l := range y.story.Litters {
			if slices.ContainsFunc(l.Stays, func(s yearstest.Stay) bool { return s.Nest == n.ID }) {
				want = append(want, l.Number)
			}
		}
		for _, v := range got.Litters {
			litters = append(litters, int(v.Litter))
		}
		if !slices.Equal(litters, want) {
			y.t.Errorf("nest %s: litters %v, want %v", n.ID, litters, want)
		}
	}
}

// checkCopy takes the book out and into an empty one, where it must be the same; half a file is refused and changes nothing.
func (y *yard) checkCopy(zone string) {
	y.t.Helper()
	said := func(y *yard, args ...string) (code int, text string) {
		var out, errs strings.Builder
		code = run(y.t.Context(), append(args, "--config", y.file), stdio{out: &out, err: &errs})
		return code, out.String() + errs.String()
	}
	file := filepath.Join(filepath.Dir(y.file), "book.csv")
	if code, text := said(y, "litter", "export", "--out", file); code != exitDone {
		y.t.Fatal(text)
	}
	whole, err := os.ReadFile(file)
	if err != nil {
		y.t.Fatal(err)
	}
	other := newYard(y.t, y.story, zone)
	other.set(y.pace.Now())
	half := filepath.Join(filepath.Dir(other.file), "half.csv")
	const within = 20 // bytes of a row
	plant(y.t, half, string(whole[:bytes.LastIndexByte(whole[:len(whole)/2], '\n')+within]))
	if code, text := said(other, "litter", "import", half); code != exitWrongUse || len(other.d.Book().Entries()) != 0 || !strings.Contains(text, "half.csv:") {
		y.t.Errorf("half a file: exit %d, %d entries: %s", code, len(other.d.Book().Entries()), text)
	}
	if code, text := said(other, "litter", "import", file); code != exitDone {
		y.t.Fatal(text)
	}
	if got, want := asText(y.t, other.d.Book().Entries()), asText(y.t, y.d.Book().Entries()); got != want {
		y.t.Error("taken out and in again, the book is another")
	}
	other.checkLitters()
}
