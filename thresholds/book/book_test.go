package book_test

import (
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
)

var (
	rules = book.Rules{Location: time.UTC, Nests: map[string]brood.Kind{"oak": brood.WoodenBox, "elm": brood.MetalBox, "tote": brood.BuriedTote}}
	today = day(60)
)

// day is that many days after the first, a bare date.
func day(n int) time.Time { return time.Date(2031, time.March, 1+n, 0, 0, 0, 0, time.UTC) }

func entry(what book.What, n int, set ...func(*book.Entry)) book.Entry {
	e := book.Entry{What: what, At: day(n), Day: true}
	for _, f := range set {
		f(&e)
	}
	return e
}

func nest(id string) func(*book.Entry)        { return func(e *book.Entry) { e.Nest = id } }
func to(id string) func(*book.Entry)          { return func(e *book.Entry) { e.To = id } }
func of(id int64) func(*book.Entry)           { return func(e *book.Entry) { e.Litter = id } }
func with(id int64) func(*book.Entry)         { return func(e *book.Entry) { e.With = id } }
func kits(n int) func(*book.Entry)            { return func(e *book.Entry) { e.Kits = &n } }
func doe(name string) func(*book.Entry)       { return func(e *book.Entry) { e.Doe = name } }
func cause(c book.Cause) func(*book.Entry)    { return func(e *book.Entry) { e.Cause = c } }
func replaces(id int64) func(*book.Entry)     { return func(e *book.Entry) { e.Replaces = id } }
func chore(name alarm.Name) func(*book.Entry) { return func(e *book.Entry) { e.Chore = name } }

// at is an hour of the entry's day.
func at(h int) func(*book.Entry) {
	return func(e *book.Entry) { e.At, e.Day = e.At.Add(time.Duration(h)*time.Hour), false }
}

// nursing is a litter of eight in oak, bred on day 0 and born on day 31.
func nursing() []book.Entry {
	return []book.Entry{entry(book.Bred, 0, nest("oak"), of(1), doe("Hazel")), entry(book.Kindled, 31, nest("oak"), of(1), kits(8))}
}

// other is one of five in elm, born on day 33.
func other() []book.Entry {
	return []book.Entry{entry(book.Bred, 1, nest("elm"), of(2), doe("Fern")), entry(book.Kindled, 33, nest("elm"), of(2), kits(5))}
}

func both() []book.Entry { return append(nursing(), other()...) }

func TestRefusals(t *testing.T) {
	lost := func(n, on int) book.Entry { return entry(book.Lost, on, of(1), kits(n), cause(book.Chilled)) }
	for name, c := range map[string]struct {
		had, add []book.Entry
		refuse   string
	}{
		"kindled before bred":                {nil, []book.Entry{entry(book.Bred, 9, nest("oak"), of(1)), entry(book.Kindled, 3, nest("oak"), of(1))}, "before bred"},
		"more lost than born":                {nursing(), []book.Entry{lost(5, 33), lost(4, 35)}, "only 3 of litter 1 were left"},
		"lost before it was born":            {nursing(), []book.Entry{lost(1, 30)}, "before litter 1 was born"},
		"lost where none is born":            {nursing()[:1], []book.Entry{lost(1, 30)}, "enter the kindling first"},
		"a nest that holds another":          {nursing(), []book.Entry{entry(book.Kindled, 40, nest("oak"), kits(4))}, "holds litter 1"},
		"moved to a nest that holds another": {both(), []book.Entry{entry(book.Moved, 40, of(2), to("oak"))}, "holds litter 1"},
		"two pregnancies in one nest":        {nursing()[:1], []book.Entry{entry(book.Bred, 5, nest("oak"), doe("Fern"))}, "kept for litter 1"},
		"a doe bred twice":                   {nursing()[:1], []book.Entry{entry(book.Bred, 5, nest("elm"), doe("Hazel"))}, "bred already"},
		"in the future":                      {nil, []book.Entry{entry(book.Bred, 61, nest("oak"))}, "in the future"},
		"an unknown nest":                    {nil, []book.Entry{entry(book.Bred, 1, nest("ash"))}, "not in the configuration"},
		"a cage that is no nest":             {[]book.Entry{nursing()[0], entry(book.Kindled, 31, nest("oak"), of(1)), entry(book.Collected, 42, of(1), to("hutch"))}, []book.Entry{entry(book.Moved, 43, of(1), to("cage"))}, "\"cage\" is not in the configuration"},
		"kindled again today":                {append(nursing(), entry(book.Lost, 33, of(1), kits(1), cause(book.Other))), []book.Entry{entry(book.Kindled, 40, nest("oak"), of(1))}, "already kindled, on 2031-04-01 (entry 2)"},
		"kindled again, earlier":             {nursing(), []book.Entry{entry(book.Kindled, 30, nest("oak"), of(1))}, "already kindled, on 2031-04-01 (entry 2)"},
		"kindled on the day she did not":     {append(nursing()[:1], entry(book.DidNotKindle, 36, of(1))), []book.Entry{entry(book.Kindled, 36, nest("oak"), of(1))}, "did-not-kindle since 2031-04-06 (entry 2)"},
		"kindled twice":                      {nursing(), []book.Entry{entry(book.Kindled, 32, nest("oak"), of(1))}, "already kindled"},
		"more weaned than there are":         {nursing(), []book.Entry{entry(book.Weaned, 59, of(1), kits(9))}, "only 8 of litter 1"},
		"after she did not kindle":           {nursing()[:1], []book.Entry{entry(book.DidNotKindle, 36, of(1)), entry(book.Kindled, 37, nest("oak"), of(1))}, "strike that entry first"},
		"did not kindle, with kits":          {nursing(), []book.Entry{entry(book.DidNotKindle, 36, of(1))}, "kindled on 2031-04-01"},
		"more sold than weaned":              {nursing(), []book.Entry{entry(book.Weaned, 59, of(1), kits(8)), entry(book.Sold, 60, of(1), kits(9))}, "sold and kept"},
		"one side of a fostering":            {both(), []book.Entry{entry(book.FosteredOut, 34, of(1), with(2), kits(2))}, "both sides"},
		"both sides differ":                  {both(), []book.Entry{entry(book.FosteredOut, 34, of(1), with(2), kits(2)), entry(book.FosteredIn, 34, of(2), with(1), kits(3))}, "both sides"},
		"one side of a fostering struck":     {append(both(), entry(book.FosteredOut, 34, of(1), with(2), kits(2)), entry(book.FosteredIn, 34, of(2), with(1), kits(2))), []book.Entry{entry(book.Struck, 34, of(1), replaces(5))}, "both sides"},
		"fostered to nobody":                 {nursing(), []book.Entry{entry(book.FosteredOut, 34, of(1), with(7), kits(2))}, "no litter 7"},
		"another kind of correction":         {nursing(), []book.Entry{entry(book.Ended, 40, of(1), replaces(2))}, "cannot become ended"},
		"corrected twice":                    {append(nursing(), entry(book.Kindled, 30, nest("oak"), of(1), replaces(2))), []book.Entry{entry(book.Kindled, 32, nest("oak"), of(1), replaces(2))}, "replaced before"},
		"a correction of nothing":            {nursing(), []book.Entry{entry(book.Struck, 40, of(1), replaces(9))}, "no entry 9"},
		"a breeding struck under its kits":   {[]book.Entry{nursing()[0], entry(book.Palpated, 12, of(1), func(e *book.Entry) { e.Found = book.Pregnant })}, []book.Entry{entry(book.Struck, 40, of(1), replaces(1))}, "entry 2, palpated on 2031-03-13, cannot stand without entry 1"},
		"weaned for weighed":                 {nursing(), []book.Entry{entry(book.Weaned, 40, of(1))}, "was weighed meant"},
		"more weighed than lived that day":   {append(nursing(), lost(2, 33)), []book.Entry{entry(book.Weighed, 34, of(1), kits(8), func(e *book.Entry) { e.Grams = 800 })}, "8 weighed on"},
		"born fewer than were lost":          {append(nursing(), lost(5, 33)), []book.Entry{entry(book.Kindled, 31, nest("oak"), of(1), kits(4), replaces(2))}, "only 4 of litter 1"},
		"a loss without a cause":             {nursing(), []book.Entry{entry(book.Lost, 33, of(1), kits(1))}, "needs cause"},
		"a cause nobody knows":               {nursing(), []book.Entry{entry(book.Lost, 33, of(1), kits(1), cause("bad luck"))}, "chilled, overheated"},
		"what does not belong there":         {nursing(), []book.Entry{entry(book.Weighed, 33, of(1), to("elm"), func(e *book.Entry) { e.Grams = 400 })}, "says nothing of to"},
		"minus three":                        {nil, []book.Entry{entry(book.Kindled, 33, nest("oak"), kits(-3))}, "outside 0 to 30"},
		"no such thing":                      {nil, []book.Entry{entry("sneezed", 33, nest("oak"))}, "nothing the book knows"},
		"no chore":                           {nil, []book.Entry{entry(book.Did, 33, nest("oak"), chore(alarm.NestHeat))}, "not a chore"},
		"two lines":                          {nil, []book.Entry{entry(book.Bred, 1, nest("oak"), doe("Ha\nzel"))}, "line break"},
	} {
		t.Run(name, func(t *testing.T) {
			had := write(t, c.had...)
			before := had.Entries()
			more, stored, _, err := had.With(today, c.add...)
			var no *book.Refusal
			if !errors.As(err, &no) || !strings.Contains(err.Error(), c.refuse) {
				t.Fatalf("error %v, want one about %q", err, c.refuse)
			}
			if more != nil || stored != nil || no.Row < 0 || no.Row >= len(c.add) || no.Entry.What != c.add[no.Row].What {
				t.Errorf("%v, %v, row %d of %s", more, stored, no.Row, no.Entry.What)
			}
			if !reflect.DeepEqual(had.Entries(), before) {
				t.Error("the book has changed")
			}
		})
	}
}

func TestRowIsTheOneThatIsWrong(t *testing.T) {
	_, _, _, err := book.New(rules, nil).With(today, append(both(), entry(book.Lost, 36, of(2), kits(6), cause(book.Other)), entry(book.Noted, 36, of(1), func(e *book.Entry) { e.Note = "calm" }))...)
	var no *book.Refusal
	if !errors.As(err, &no) || no.Row != 4 {
		t.Errorf("%v, row %+v; want row 4", err, no)
	}
}

func write(t *testing.T, entries ...book.Entry) *book.Book {
	t.Helper()
	b, _, _, err := book.New(rules, nil).With(today, entries...)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestALittersLife(t *testing.T) {
	b := write(t, append(both(),
		entry(book.FosteredOut, 34, of(1), with(2), kits(2)), entry(book.FosteredIn, 34, of(2), with(1), kits(2)),
		entry(book.Lost, 33, of(1), kits(1), cause(book.Chilled)), entry(book.Moved, 45, of(1), to("tote")),
		entry(book.Weaned, 59, of(2), kits(7)), entry(book.Sold, 60, of(2), kits(4)),
	)...)
	first, second := b.Record(1), b.Record(2)
	for n, want := range map[int]int{30: 0, 31: 8, 32: 8, 33: 7, 34: 5, 60: 5} {
		if got, known := first.Alive(day(n), time.UTC); got != want || known != (n > 30) {
			t.Errorf("day %d: %d alive, %v; want %d", n, got, known, want)
		}
	}
	if first.Nest() != "tote" || !first.Open() || len(first.Stays) != 2 || !first.Stays[0].Until.Equal(day(45)) {
		t.Errorf("%+v", first)
	}
	if second.Open() || !second.Weaned.Equal(day(59)) || second.Doe != "Fern" {
		t.Errorf("%+v", second)
	}
	litters := b.Litters(today)
	if len(litters) != 3 || litters[0].Nest != "oak" || !litters[0].Ended.Equal(day(45)) || litters[1].Nest != "tote" || litters[1].Kits != 5 ||
		!litters[1].Since.Equal(day(45)) || !litters[1].Kindled.Equal(day(31)) || !litters[2].Ended.Equal(day(59)) {
		t.Errorf("for the decisions: %+v", litters)
	}
	if about := b.About(book.Lost, "tote"); about != first {
		t.Errorf("lost in the tote is about %+v", about)
	}
	if about := b.About(book.Lost, "oak"); about != nil {
		t.Errorf("lost in oak is about %+v", about)
	}
}

// What is long over is told of a nest only where nothing came after it.
func TestLittersLongOver(t *testing.T) {
	b := write(t, append(both(), entry(book.Weaned, 59, of(1), kits(8)), entry(book.Weaned, 60, of(2), kits(5)))...)
	b, _, _, err := b.With(day(70), entry(book.Bred, 70, nest("oak"), doe("Hazel")))
	if err != nil {
		t.Fatal(err)
	}
	for n, want := range map[int][]int64{100: {1, 2, 3}, 130: {2, 3}} {
		var got []int64
		for _, l := range b.Litters(day(n)) {
			got = append(got, l.ID)
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("day %d: litters %v, want %v", n, got, want)
		}
	}
}

// All kits dead by the book empties the nest; one fostered in later fills it again.
func TestNoKitsLeft(t *testing.T) {
	gone := append(both(), entry(book.Lost, 35, of(1), kits(8), cause(book.Chilled)))
	if l := write(t, gone...).Litters(today)[0]; !l.Ended.Equal(day(35)) {
		t.Errorf("%+v", l)
	}
	gone = append(gone, entry(book.FosteredIn, 36, of(1), with(2), kits(2)), entry(book.FosteredOut, 36, of(2), with(1), kits(2)))
	if l := write(t, gone...).Litters(today)[0]; !l.Ended.IsZero() || l.Kits != 2 {
		t.Errorf("%+v", l)
	}
	dead := append(nursing()[:1], entry(book.Kindled, 31, nest("oak"), of(1), kits(0)))
	if l := write(t, dead...).Litters(today)[0]; !l.Ended.Equal(day(31)) || !l.Kindled.Equal(day(31)) {
		t.Errorf("all born dead: %+v", l)
	}
	unknown := append([]book.Entry{}, nursing()...)
	unknown[1].Kits = nil
	unknown = append(unknown, entry(book.Lost, 35, of(1), kits(8), cause(book.Chilled)))
	if l := write(t, unknown...).Litters(today)[0]; !l.Ended.IsZero() {
		t.Errorf("nobody counted the kits, and the nest is said to be empty: %+v", l)
	}
}

// Kits from a tote grow up in cages that no configuration names, several litters in one, and are still written about.
func TestKitsInACage(t *testing.T) {
	for name, more := range map[string][]book.Entry{
		"weighed there": {entry(book.Weighed, 50, of(1), nest("hutch"), func(e *book.Entry) { e.Grams = 500 })},
		"two litters":   {entry(book.Collected, 44, of(2), to("hutch"))},
	} {
		if _, _, _, err := write(t, append(both(), entry(book.Collected, 42, of(1), to("hutch")))...).With(today, more...); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestCorrectionsKeepTheEarlier(t *testing.T) {
	b := write(t, nursing()...)
	b, stored, _, err := b.With(today, entry(book.Kindled, 32, nest("oak"), of(1), kits(9), replaces(2)))
	if err != nil || stored[0].ID != 3 || !stored[0].Entered.Equal(today) {
		t.Fatalf("%+v, %v", stored, err)
	}
	if r := b.Record(1); !r.Kindled.Equal(day(32)) || *r.Born != 9 || len(r.Entries) != 2 {
		t.Errorf("%+v", r)
	}
	if e, ok := b.Entry(2); !ok || *e.Kits != 8 || b.ReplacedBy(2) != 3 {
		t.Errorf("the earlier entry: %+v, replaced by %d", e, b.ReplacedBy(2))
	}
	b, _, _, err = b.With(today, entry(book.Struck, 60, of(1), replaces(3)))
	if err != nil || !b.Record(1).Kindled.IsZero() {
		t.Errorf("struck: %+v, %v", b.Record(1), err)
	}
	if again := book.New(rules, b.Entries()); !reflect.DeepEqual(again.Records(), b.Records()) {
		t.Error("the stored book is another one")
	}
}

func TestDoubtsAreNoRefusals(t *testing.T) {
	for name, c := range map[string]struct {
		add  []book.Entry
		want string
	}{
		"early":         {[]book.Entry{entry(book.Bred, 10, nest("oak"), of(1)), entry(book.Kindled, 31, nest("oak"), of(1))}, "day 21 after breeding"},
		"far apart":     {append(nursing(), entry(book.Kindled, 36, nest("elm"), of(2), kits(4)), entry(book.FosteredOut, 37, of(1), with(2), kits(1)), entry(book.FosteredIn, 37, of(2), with(1), kits(1))), "5 days apart"},
		"fewer weaned":  {append(nursing(), entry(book.Weaned, 59, of(1), kits(6))), "the other 2"},
		"a heavy kit":   {append(nursing(), entry(book.Weighed, 34, of(1), func(e *book.Entry) { e.Grams = 9000 })), "9000 g"},
		"nothing wrong": {both(), ""},
		"bred in oak":   {append(nursing()[:1], entry(book.Kindled, 31, nest("elm"), doe("Hazel"))), "is bred in nest oak since 2031-03-01 (litter 1)"},
		"bred again":    {append(nursing(), entry(book.Bred, 40, nest("elm"), doe("Hazel"))), ""},
	} {
		_, _, doubts, err := book.New(rules, nil).With(today, c.add...)
		if got := strings.Join(doubts, "; "); err != nil || (c.want == "") != (got == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, %v; want %q", name, got, err, c.want)
		}
	}
}

func TestMarks(t *testing.T) {
	b := write(t, append(nursing(),
		entry(book.BoxIn, 28, of(1)), entry(book.Did, 40, nest("oak"), chore(alarm.BeddingDue)), entry(book.Did, 44, nest("oak"), chore(alarm.BeddingDue)),
		entry(book.Did, 44, chore(alarm.SeasonSetupDue)))...)
	got := map[string]int{}
	for _, m := range b.Marks() {
		got[m.Nest+" "+string(m.Chore)] = int(m.At.Sub(day(0)).Hours()) / 24
	}
	want := map[string]int{" season-setup-due": 44, "oak bedding-due": 44, "oak box-due": 28}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	late := write(t, entry(book.Bred, 0, nest("oak"), of(1)), entry(book.Kindled, 33, nest("oak"), of(1)))
	if all := late.Marks(); len(all) != 1 || all[0].Chore != alarm.KindlingOverdue {
		t.Errorf("kindled on day 33: %+v", all)
	}
}

// Who found a loss, weighed or fostered at some hour has looked into the nest then, unless the kits lie elsewhere. It is struck with the entry.
func TestWhatShowsALook(t *testing.T) {
	gram := func(e *book.Entry) { e.Grams = 400 }
	felt := func(e *book.Entry) { e.Found = book.Pregnant }
	lost := entry(book.Lost, 34, of(1), kits(1), cause(book.Other), at(7))
	for name, c := range map[string]struct {
		had  []book.Entry
		want map[string]time.Time
	}{
		"a loss":                     {append(nursing(), lost), map[string]time.Time{"oak": day(34).Add(7 * time.Hour)}},
		"a loss of some hour":        {append(nursing(), entry(book.Lost, 34, of(1), kits(1), cause(book.Other))), nil},
		"a loss that was struck":     {append(nursing(), lost, entry(book.Struck, 35, of(1), replaces(3))), nil},
		"a weight":                   {append(nursing(), entry(book.Weighed, 35, of(1), gram, at(9))), map[string]time.Time{"oak": day(35).Add(9 * time.Hour)}},
		"a weight taken in the pen":  {append(nursing(), entry(book.Collected, 42, of(1)), entry(book.Weighed, 45, of(1), gram, at(9))), nil},
		"a fostering, in both nests": {append(both(), entry(book.FosteredOut, 34, of(1), with(2), kits(1), at(8)), entry(book.FosteredIn, 34, of(2), with(1), kits(1), at(8))), map[string]time.Time{"oak": day(34).Add(8 * time.Hour), "elm": day(34).Add(8 * time.Hour)}},
		"a doe that was felt":        {append(nursing()[:1], entry(book.Palpated, 12, of(1), felt, at(9))), map[string]time.Time{"oak": day(12).Add(9 * time.Hour)}},
		"felt while her kits lie in": {append(nursing(), entry(book.Bred, 33, nest("oak"), of(2), doe("Hazel")), entry(book.Palpated, 45, of(2), felt, at(9))), nil},
	} {
		got := map[string]time.Time{}
		b := write(t, c.had...)
		for _, m := range b.Marks() {
			if m.Chore == alarm.InspectDue {
				got[m.Nest] = m.At
			}
		}
		if len(got) != len(c.want) || len(got) > 0 && !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: %v, want %v", name, got, c.want)
		}
		if name == "a loss that was struck" {
			if all := b.Struck(b.Entries()); len(all) != 1 || all[0].Nest != "oak" || all[0].Chore != alarm.InspectDue || !all[0].At.Equal(lost.At) {
				t.Errorf("struck: %+v", all)
			}
		}
	}
}

// Kits that were counted may die in the evening of that day. What the hours or the numbers rule out is refused.
func TestCountedAndLostOnOneDay(t *testing.T) {
	count := func(what book.What, n int, set ...func(*book.Entry)) book.Entry {
		return entry(what, 59, append(set, of(1), kits(n))...)
	}
	lost := func(n int, set ...func(*book.Entry)) book.Entry {
		return count(book.Lost, n, append(set, cause(book.Other))...)
	}
	for name, c := range map[string]struct {
		add   []book.Entry
		alive int // -1 where it is refused
		doubt bool
	}{
		"eight weaned, one of them dead":           {[]book.Entry{count(book.Weaned, 8), lost(1)}, 7, true},
		"the loss written first":                   {[]book.Entry{lost(1), count(book.Collected, 8)}, 7, true},
		"one dead before, and one after":           {[]book.Entry{lost(1), lost(1), count(book.Weaned, 7)}, 6, true},
		"by the hour":                              {[]book.Entry{count(book.Weaned, 8, at(9)), lost(1, at(20))}, 7, false},
		"collected and weaned, then one dead":      {[]book.Entry{count(book.Collected, 8), count(book.Weaned, 8), lost(1)}, 7, true},
		"seven weaned and one dead":                {[]book.Entry{lost(1), count(book.Weaned, 7)}, 7, false},
		"the dead found before the count":          {[]book.Entry{lost(1, at(7)), count(book.Weaned, 8, at(9))}, -1, false},
		"more than there were":                     {[]book.Entry{lost(1), count(book.Weaned, 9)}, -1, false},
		"dead on another day than they are weaned": {[]book.Entry{entry(book.Lost, 58, of(1), kits(1), cause(book.Other)), count(book.Weaned, 8)}, -1, false},
	} {
		b, _, doubts, err := book.New(rules, nursing0()).With(today, c.add...)
		if (err != nil) != (c.alive < 0) {
			t.Errorf("%s: %v", name, err)
		}
		if err != nil {
			continue
		}
		if n, _ := b.Record(1).Alive(today, time.UTC); n != c.alive || strings.Contains(strings.Join(doubts, ""), "must have died after") != c.doubt {
			t.Errorf("%s: %d alive, doubts %q", name, n, doubts)
		}
	}
}

// nursing0 is nursing as it is stored.
func nursing0() []book.Entry {
	all := nursing()
	for i := range all {
		all[i].ID = int64(i + 1)
	}
	return all
}

func TestIndoors(t *testing.T) {
	in := append(nursing(), entry(book.CarriedIn, 33, nest("oak")))
	if l := write(t, in...).Litters(today)[0]; !l.Indoors.Equal(day(33)) {
		t.Errorf("%+v", l)
	}
	if l := write(t, append(in, entry(book.CarriedOut, 34, nest("oak")))...).Litters(today)[0]; !l.Indoors.IsZero() {
		t.Errorf("%+v", l)
	}
	carried := func(what book.What, set ...func(*book.Entry)) book.Entry {
		return entry(what, 34, append(set, nest("oak"))...)
	}
	for name, c := range map[string]struct {
		had  []book.Entry
		want time.Time
	}{
		"out in the morning, in on that day": {append(in, carried(book.CarriedOut, at(8)), carried(book.CarriedIn)), day(34).Add(8 * time.Hour)},
		"the other way round on paper":       {append(in, carried(book.CarriedIn), carried(book.CarriedOut, at(8))), day(34).Add(8 * time.Hour)},
		"in by night, out on that day":       {append(nursing(), carried(book.CarriedIn, at(5)), carried(book.CarriedOut)), time.Time{}},
		"the evening before was forgotten":   {append(nursing(), carried(book.CarriedOut, at(8)), carried(book.CarriedIn)), day(34).Add(8 * time.Hour)},
		"in and, by the hour, out":           {append(nursing(), carried(book.CarriedIn), carried(book.CarriedOut, at(8))), time.Time{}},
		"out corrected afterwards":           {append(in, carried(book.CarriedOut, at(8)), carried(book.CarriedIn), carried(book.CarriedOut, at(9), replaces(4))), day(34).Add(9 * time.Hour)},
	} {
		b := write(t, c.had...)
		beds := b.Beds("oak")
		if got := b.Litters(today)[0].Indoors; !got.Equal(c.want) || beds[len(beds)-1].Indoors == c.want.IsZero() {
			t.Errorf("%s: indoors since %v, want %v; %+v", name, got, c.want, beds[len(beds)-1])
		}
	}
}

func TestPlace(t *testing.T) {
	b := write(t, append(nursing(), entry(book.Bred, 50, nest("oak"), doe("Hazel")))...)
	for what, want := range map[book.What]int64{book.Lost: 1, book.Weaned: 1, book.Ended: 1, book.Kindled: 2, book.Palpated: 2, book.DidNotKindle: 2} {
		if e, err := b.Place(book.Entry{What: what, Nest: "oak"}); err != nil || e.Litter != want {
			t.Errorf("%s: %+v, %v; want litter %d", what, e, err, want)
		}
	}
	if e, err := b.Place(book.Entry{What: book.Lost, Litter: 1}); err != nil || e.Nest != "oak" {
		t.Errorf("%+v, %v", e, err)
	}
	moved := write(t, append(nursing(), entry(book.Moved, 45, of(1), to("tote")))...)
	for n, want := range map[int]string{44: "oak", 46: "tote"} {
		if e, err := moved.Place(entry(book.Lost, n, of(1), kits(1), cause(book.Other))); err != nil || e.Nest != want {
			t.Errorf("lost on day %d, written after it was moved: %+v, %v; want nest %s", n, e, err, want)
		}
	}
	if _, err := b.Place(book.Entry{What: book.Lost, Nest: "elm"}); err == nil {
		t.Error("lost from an empty nest")
	}
}

// A chore that is struck counts no more for the nest for which it counted, also where the entry named its litter alone.
func TestWhatIsStruckNamesItsNest(t *testing.T) {
	b := write(t, append(nursing(), entry(book.Collected, 42, of(1)), entry(book.Struck, 43, of(1), replaces(3)))...)
	if all := b.Struck(b.Entries()); len(all) != 1 || all[0].Nest != "oak" || all[0].Chore != alarm.CollectDue {
		t.Errorf("struck: %+v", all)
	}
}

// Hers is due 31 to 32 days after she was bred; what is past is not expected any more.
func TestAKindlingThatIsPastWasExpected(t *testing.T) {
	b := write(t, entry(book.Bred, 0, nest("oak"), doe("Fern")))
	for days, want := range map[int]string{32: "Kindling is expected on 2031-04-01 to 2031-04-02.", 33: "Kindling was expected on 2031-04-01 to 2031-04-02."} {
		if got := b.View(b.Records()[0], day(days)).Stands; got != want {
			t.Errorf("day %d: %q, want %q", days, got, want)
		}
	}
}
