package survival

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
)

var denver = zone("America/Denver")

func zone(name string) *time.Location {
	loc, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return loc
}

// on is that many days after the first kindling, a bare date.
func on(n int) time.Time { return time.Date(2031, time.March, 1+n, 0, 0, 0, 0, denver) }

type set func(*book.Entry)

func entry(what book.What, n int, sets ...set) book.Entry {
	e := book.Entry{What: what, At: on(n), Day: true, Litter: 1}
	for _, f := range sets {
		f(&e)
	}
	return e
}

func kit(n int) set             { return func(e *book.Entry) { e.Kits = &n } }
func dead(n int) set            { return func(e *book.Entry) { e.Dead = &n } }
func at(nest string) set        { return func(e *book.Entry) { e.Nest = nest } }
func of(id int64) set           { return func(e *book.Entry) { e.Litter = id } }
func with(id int64) set         { return func(e *book.Entry) { e.With = id } }
func into(nest string) set      { return func(e *book.Entry) { e.To = nest } }
func by(c book.Cause) set       { return func(e *book.Entry) { e.Cause = c } }
func doe(name string) set       { return func(e *book.Entry) { e.Doe = name } }
func bed(of string) set         { return func(e *book.Entry) { e.Bedding = of } }
func kind(k brood.Kind) set     { return func(e *book.Entry) { e.Kind = k } }
func season(s brood.Season) set { return func(e *book.Entry) { e.Season = s } }

func born(n int, sets ...set) book.Entry {
	return entry(book.Kindled, 0, append([]set{at("oak"), kit(n)}, sets...)...)
}

func lost(n, day int) book.Entry { return entry(book.Lost, day, kit(n), by(book.Chilled)) }

// written is a book in which the entries passed its own checks.
func written(t *testing.T, entries ...book.Entry) *book.Book {
	t.Helper()
	rules := book.Rules{Location: denver, Nests: map[string]brood.Kind{"oak": brood.WoodenBox, "elm": brood.MetalBox, "tote": brood.BuriedTote}}
	b, _, _, err := book.New(rules, nil).With(on(400), entries...)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// told is what a figure says, in short.
func told(f Figure) string {
	if f.Litters > 0 {
		text := fmt.Sprintf("%d of %d", f.N, f.Of)
		if f.Missing+f.Later > 0 {
			text += fmt.Sprintf(" missing %d later %d", f.Missing, f.Later)
		}
		return text
	}
	for _, left := range []struct {
		n    int
		what string
	}{{f.Uncounted, "uncounted"}, {f.NoKits, "no kits"}, {f.Young, "young"}, {f.Closed, "closed"}, {f.OpenForLong, "open"}} {
		if left.n > 0 {
			return left.what
		}
	}
	return "nothing"
}

// Of one litter: what it says of day 3, 10, 21 and weaning, asked a year later unless another day is given.
func TestOneLitter(t *testing.T) {
	wean := func(n, day int) book.Entry { return entry(book.Weaned, day, kit(n)) }
	for name, c := range map[string]struct {
		entries []book.Entry
		now     int
		want    [4]string
	}{
		"weaned whole":                          {[]book.Entry{born(8), wean(8, 35)}, 0, [4]string{"8 of 8", "8 of 8", "8 of 8", "8 of 8"}},
		"a loss counts from the end of its day": {[]book.Entry{born(8), lost(1, 3), lost(2, 4), lost(1, 21), wean(4, 35)}, 0, [4]string{"7 of 8", "5 of 8", "4 of 8", "4 of 8"}},
		"lost on the day of weaning":            {[]book.Entry{born(8), lost(1, 35), wean(7, 35)}, 0, [4]string{"8 of 8", "8 of 8", "8 of 8", "7 of 8"}},
		"lost after weaning":                    {[]book.Entry{born(8), wean(8, 35), lost(1, 36)}, 0, [4]string{"8 of 8", "8 of 8", "8 of 8", "8 of 8"}},
		"stillborn never lived":                 {[]book.Entry{born(6, dead(3)), wean(6, 35)}, 0, [4]string{"6 of 6", "6 of 6", "6 of 6", "6 of 6"}},
		"all stillborn":                         {[]book.Entry{born(0, dead(3))}, 0, [4]string{"no kits", "no kits", "no kits", "no kits"}},
		"nobody counted":                        {[]book.Entry{entry(book.Kindled, 0, at("oak")), wean(5, 35)}, 0, [4]string{"uncounted", "uncounted", "uncounted", "uncounted"}},
		"weaned, and nobody counted then":       {[]book.Entry{born(8), lost(2, 1), entry(book.Weaned, 35)}, 0, [4]string{"6 of 8", "6 of 8", "6 of 8", "6 of 8"}},
		"two are missing at weaning":            {[]book.Entry{born(8), wean(6, 35)}, 0, [4]string{"8 of 8 missing 0 later 2", "8 of 8 missing 0 later 2", "8 of 8 missing 0 later 2", "6 of 8 missing 2 later 0"}},
		"one is missing when collected": {
			[]book.Entry{born(8), entry(book.Collected, 10, kit(7)), lost(1, 15), wean(6, 35)},
			0,
			[4]string{"8 of 8 missing 0 later 1", "7 of 8 missing 1 later 0", "6 of 8 missing 1 later 0", "6 of 8 missing 1 later 0"},
		},
		"collected lives on elsewhere":         {[]book.Entry{born(8), entry(book.Collected, 11), lost(2, 15), wean(6, 35)}, 0, [4]string{"8 of 8", "8 of 8", "6 of 8", "6 of 8"}},
		"moved lives on elsewhere":             {[]book.Entry{born(8), entry(book.Moved, 5, into("elm")), lost(2, 8), wean(6, 35)}, 0, [4]string{"8 of 8", "6 of 8", "6 of 8", "6 of 8"}},
		"all dead is known for ever":           {[]book.Entry{born(8), lost(8, 2)}, 0, [4]string{"0 of 8", "0 of 8", "0 of 8", "0 of 8"}},
		"all dead, and too young all the same": {[]book.Entry{born(8), lost(8, 2)}, 8, [4]string{"0 of 8", "young", "young", "young"}},
		"the day is not over":                  {[]book.Entry{born(8)}, 3, [4]string{"young", "young", "young", "young"}},
		"the day is over":                      {[]book.Entry{born(8)}, 4, [4]string{"8 of 8", "young", "young", "young"}},
		"nursing":                              {[]book.Entry{born(8)}, 40, [4]string{"8 of 8", "8 of 8", "8 of 8", "young"}},
		"nursing at the latest weaning":        {[]book.Entry{born(8)}, 60, [4]string{"8 of 8", "8 of 8", "8 of 8", "young"}},
		"ended with kits left":                 {[]book.Entry{born(8), lost(1, 2), entry(book.Ended, 15)}, 0, [4]string{"7 of 8", "7 of 8", "closed", "closed"}},
		"ended on the day itself":              {[]book.Entry{born(8), entry(book.Ended, 21)}, 0, [4]string{"8 of 8", "8 of 8", "8 of 8", "closed"}},
		"ended, and then the last one lost":    {[]book.Entry{born(2), entry(book.Ended, 15), lost(2, 16)}, 0, [4]string{"2 of 2", "2 of 2", "0 of 2", "0 of 2"}},
		"forgotten after a loss on day 5":      {[]book.Entry{born(8), lost(1, 5)}, 0, [4]string{"8 of 8", "open", "open", "open"}},
		"sold before they were weaned":         {[]book.Entry{born(8), entry(book.Sold, 30, kit(2)), wean(6, 35)}, 0, [4]string{"8 of 8", "8 of 8", "8 of 8", "6 of 6"}},
	} {
		t.Run(name, func(t *testing.T) {
			if c.now == 0 {
				c.now = 365
			}
			b := written(t, c.entries...)
			r := Measure(b, Ask{Now: on(c.now)})
			for i, f := range r.All.Days {
				if got := told(f); got != c.want[i] {
					t.Errorf("day %d: %s, want %s", f.Day, got, c.want[i])
				}
			}
		})
	}
}

// A kit counts once, for the litter that raises it.
func TestFosteredKits(t *testing.T) {
	b := written(t, born(10), entry(book.Kindled, 1, at("elm"), of(2), kit(4)),
		entry(book.FosteredOut, 2, kit(3), with(2)), entry(book.FosteredIn, 2, of(2), kit(3), with(1)),
		entry(book.Lost, 3, of(2), kit(1), by(book.Unfed)), lost(1, 1),
		entry(book.Weaned, 35, kit(6)), entry(book.Weaned, 36, of(2), kit(6)))
	r := Measure(b, Ask{By: Nest, Now: on(60)})
	for i, want := range []string{"6 of 7", "6 of 7"} { // elm, oak
		if got := told(r.Groups[i].Days[0]); got != want {
			t.Errorf("%s: %s, want %s", r.Groups[i].Name, got, want)
		}
	}
	if f := r.All.Days[3]; f.N != 12 || f.Of != 14 || f.Litters != 2 {
		t.Errorf("weaned: %+v", f)
	}
	if r.WeanedFrom != 35 {
		t.Errorf("weaning counts from day %d", r.WeanedFrom)
	}
}

// Litters that died may not count for weaning before those of the same age that live.
func TestWeaningWaitsForTheLatest(t *testing.T) {
	entries := []book.Entry{born(8), entry(book.Weaned, 42, kit(8))}
	entries = append(entries, entry(book.Kindled, 100, of(2), at("oak"), kit(5)), entry(book.Lost, 101, of(2), kit(5), by(book.Chilled)))
	for now, want := range map[int]string{141: "8 of 8", 143: "8 of 13"} {
		if got := told(Measure(written(t, entries...), Ask{Now: on(now)}).All.Days[3]); got != want {
			t.Errorf("day %d: %s, want %s", now, got, want)
		}
	}
}

func TestGroups(t *testing.T) {
	var entries []book.Entry
	for i, c := range []struct {
		nest, doe, bedding string
		kind               brood.Kind
		season             brood.Season
	}{
		{"oak", "Hazel", "Shavings", brood.WoodenBox, brood.Winter},
		{"oak", "Fern", "shavings", brood.WoodenBox, brood.Mild},
		{"elm", "", "straw", brood.MetalBox, ""},
		{"tote", "Hazel", "", "", brood.Winter},
	} {
		id, day := int64(i+1), 100*i
		entries = append(entries, entry(book.Kindled, day, of(id), at(c.nest), doe(c.doe), bed(c.bedding), kind(c.kind), season(c.season), kit(4+i)),
			entry(book.Did, day+7, of(id), at(c.nest), bed("hay"), func(e *book.Entry) { e.Chore = alarm.BeddingDue }),
			entry(book.Weaned, day+35, of(id), kit(4)))
	}
	b := written(t, entries...)
	for key, want := range map[Key]string{
		Nest: "elm 1, oak 2, tote 1", Kind: "metal-box 1, wooden-box 2,  1", Season: "mild 1, winter 2,  1",
		Bedding: "Shavings 2, straw 1,  1", Doe: "Fern 1, Hazel 2,  1", Buck: " 4", "": "",
	} {
		r := Measure(b, Ask{By: key, Now: on(400)})
		var got []string
		for _, g := range r.Groups {
			got = append(got, fmt.Sprintf("%s %d", g.Name, g.Litters))
		}
		if strings.Join(got, ", ") != want || r.All.Litters != 4 {
			t.Errorf("by %s: %q, want %q", key, strings.Join(got, ", "), want)
		}
	}
	r := Measure(b, Ask{Now: on(400), Since: on(100), Until: on(300)})
	if r.All.Litters != 2 || r.All.Kits != 11 || r.All.Size.Mean != 5.5 || math.Abs(r.All.Size.SD-math.Sqrt(0.5)) > 1e-12 || r.All.Size.Least != 5 || r.All.Size.Most != 6 {
		t.Errorf("from day 100 to day 300: %+v, size %+v", r.All, r.All.Size)
	}
}

func TestConceptionAndLosses(t *testing.T) {
	b := written(t,
		entry(book.Bred, 0, at("oak"), doe("Hazel")), entry(book.DidNotKindle, 36),
		entry(book.Bred, 40, of(2), at("oak"), doe("Hazel")), entry(book.Kindled, 71, of(2), at("oak"), kit(8), dead(2), kind(brood.WoodenBox)),
		entry(book.Lost, 72, of(2), kit(2), by(book.Chilled)), entry(book.Lost, 72, of(2), kit(1), by(book.Chilled)), entry(book.Lost, 81, of(2), kit(1), by(book.Crushed)),
		entry(book.Weaned, 106, of(2), kit(3)),
		entry(book.Bred, 0, of(3), at("elm"), doe("Fern")), entry(book.Ended, 20, of(3)), // sold
		entry(book.Kindled, 30, of(4), at("tote"), doe("Fern"), kit(5), kind(brood.WoodenBox)), // nobody wrote when she was bred
		entry(book.Bred, 200, of(5), at("oak"), doe("Hazel")))
	r := Measure(b, Ask{By: Doe, Now: on(210)})
	fern, hazel := r.Groups[0], r.Groups[1]
	if hazel.Failed.N != 1 || hazel.Failed.Of != 2 || *hazel.Failed.Low < 0.09 || *hazel.Failed.High > 0.91 || fern.Failed.Of != 0 || fern.Failed.Value != nil {
		t.Errorf("did not kindle: Hazel %+v, Fern %+v", hazel.Failed, fern.Failed)
	}
	for _, g := range Measure(b, Ask{By: Kind, Now: on(210)}).Groups { // the kind is written down at kindling: there all would seem to kindle
		if g.Failed.Value != nil || g.Litters != 2 {
			t.Errorf("by kind: %+v", g)
		}
	}
	want := []Loss{{book.Chilled, 1, 3}, {book.Crushed, 10, 1}, {Missing, 35, 1}}
	if !reflect.DeepEqual(hazel.Losses, want) || hazel.Stillborn.N != 2 || hazel.Stillborn.Of != 10 {
		t.Errorf("losses %+v, want %+v; stillborn %+v", hazel.Losses, want, hazel.Stillborn)
	}
}

// What is left out is told beside each figure, and all that kindled is one or the other.
func TestNothingIsDropped(t *testing.T) {
	b := written(t, born(8), entry(book.Ended, 5), entry(book.Kindled, 10, of(2), at("oak")), entry(book.Weaned, 50, of(2)),
		entry(book.Kindled, 60, of(3), at("oak"), kit(0)), entry(book.Kindled, 90, of(4), at("oak"), kit(6)))
	for _, f := range Measure(b, Ask{Now: on(105)}).All.Days {
		if n := f.Litters + f.Uncounted + f.NoKits + f.Young + f.Closed + f.OpenForLong; n != 4 {
			t.Errorf("day %d tells of %d litters: %+v", f.Day, n, f)
		}
	}
}

// many makes litters of eight in a nest, one after the other; alive of each are weaned.
func many(from int64, nest string, alive ...int) (out []book.Entry) {
	for i, n := range alive {
		id, day := from+int64(i), 40*i
		out = append(out, entry(book.Kindled, day, of(id), at(nest), kit(8)))
		if n < 8 {
			out = append(out, entry(book.Lost, day+1, of(id), kit(8-n), by(book.Chilled)))
		}
		out = append(out, entry(book.Weaned, day+35, of(id), kit(n)))
	}
	return out
}

func TestWords(t *testing.T) {
	for name, c := range map[string]struct {
		entries []book.Entry
		want    string
	}{
		"too few":       {slices.Concat(many(1, "oak", 8, 7, 6), many(11, "elm", 1, 2, 1)), "No two nests have 5 litters each that count: too few to tell them apart. Fewer than 5 litters, too few to tell: elm 3, oak 3."},
		"plainly apart": {slices.Concat(many(1, "oak", 8, 8, 7, 8, 7, 8), many(11, "elm", 2, 3, 1, 2, 4, 2)), "oak (96 % weaned) and elm (29 %) differ by more than chance easily makes among 2 nests. Other things may differ"},
		"may be chance": {slices.Concat(many(1, "oak", 8, 8, 4, 8, 2, 8), many(11, "elm", 8, 7, 8, 2, 4, 6)), "oak (79 % weaned) and elm (73 %) lie farthest apart, and that may well be chance: their intervals overlap widely."},
		"the worst of three is picked out": {
			slices.Concat(many(1, "oak", 8, 7, 8, 6, 8, 7, 8), many(11, "elm", 6, 5, 5, 6, 4, 5, 4), many(21, "tote", 7, 6, 6, 5, 7, 6, 8)),
			"oak (93 % weaned) and elm (62 %) lie farthest apart, but of 3 nests two may do so by chance.",
		},
		"no difference":   {slices.Concat(many(1, "oak", 8, 7, 8, 8, 7), many(11, "elm", 8, 7, 8, 8, 7)), "The nests that can be compared do not differ."},
		"the better of 3": {slices.Concat(many(1, "oak", 8, 8, 7, 8, 7, 8), many(11, "elm", 6, 5, 5, 6, 4, 5, 4), many(21, "tote", 5)), "too few to tell: tote 1."},
	} {
		t.Run(name, func(t *testing.T) {
			r := Measure(written(t, c.entries...), Ask{By: Nest, Now: on(400)})
			if got := strings.Join(r.Words, "\n"); !strings.Contains(got, c.want) {
				t.Errorf("%s\nwant %s", got, c.want)
			}
			if strings.Contains(strings.Join(r.Words, " "), "NaN") {
				t.Error(r.Words)
			}
		})
	}
	if got := Measure(written(t), Ask{By: Doe, Now: on(1)}).Words; len(got) != 1 || got[0] != "There is no litter yet of which survival could be told." {
		t.Errorf("of an empty book: %q", got)
	}
	if got := Measure(written(t, born(8), lost(1, 1)), Ask{Now: on(5)}).Words[0]; got != "Of 8 kits of 1 litter 7 lived to day 3, 88 %; one litter shows nothing of how litters differ, so there is no interval." {
		t.Errorf("of one litter: %q", got)
	}
}
