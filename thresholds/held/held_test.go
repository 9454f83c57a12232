package held

import (
	"math"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
)

var denver = func() *time.Location {
	loc, err := time.LoadLocation("America/Denver")
	if err != nil {
		panic(err)
	}
	return loc
}()

func date(m time.Month, d int) time.Time { return time.Date(2031, m, d, 0, 0, 0, 0, denver) }

func kits(n int) *int { return &n }

// winter is a litter bred in December, born in the tote on 10 January, on three inches of shavings; straw from 20 January; weaned on 14 February.
func winter(t *testing.T, more ...book.Entry) *book.Book {
	t.Helper()
	rules := book.Rules{Location: denver, Nests: map[string]brood.Kind{"tote": brood.BuriedTote, "oak": brood.WoodenBox}}
	b, _, _, err := book.New(rules, nil).With(date(time.December, 31), append([]book.Entry{
		{What: book.Bred, Litter: 1, Nest: "tote", At: date(time.January, 1).AddDate(0, 0, -22), Day: true},
		{What: book.Kindled, Litter: 1, Nest: "tote", At: date(time.January, 10), Day: true, Kits: kits(8), Bedding: "shavings", Depth: 7.62},
		{What: book.Did, Nest: "tote", Chore: alarm.BeddingDue, At: date(time.January, 20), Day: true, Bedding: "straw"},
		{What: book.Weaned, Litter: 1, At: date(time.February, 14), Day: true, Kits: kits(8)},
	}, more...)...)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// feed adds every hour of January and February: the tote is over outside by the day of the month, in °C.
func feed(t *Tally) []Row {
	for at := date(time.January, 1); at.Before(date(time.March, 1)); at = at.Add(time.Hour) {
		outside := -5.0
		if at.In(denver).Day() == 12 && at.In(denver).Hour() < 6 {
			outside = math.NaN()
		}
		t.Add(at.UTC(), outside, []float64{math.NaN(), -5 + float64(at.In(denver).Day())})
	}
	return t.Rows()
}

func TestWhatAToteHeld(t *testing.T) {
	got := feed(New(winter(t), []string{"oak", "tote"}))
	want := []Row{
		{Nest: "tote", Month: time.January, Kits: true, Bedding: "shavings", Depth: 8, Hours: 9*24 - 6, Litters: 1, Mean: over((15*9*24 - 6*12) / (9*24 - 6.0)), Low: over(11), High: over(19)},
		{Nest: "tote", Month: time.January, Kits: true, Bedding: "straw", Hours: 11 * 24, Litters: 1, Mean: over(26), Low: over(21), High: over(31)},
		{Nest: "tote", Month: time.January, Hours: 9 * 24, Mean: over(5), Low: over(1), High: over(9)},
		{Nest: "tote", Month: time.February, Kits: true, Bedding: "straw", Hours: 7 * 24, Litters: 1, Mean: over(4), Low: over(1), High: over(7)},
		{Nest: "tote", Month: time.February, Hours: 14 * 24, Mean: over(21.5), Low: over(15), High: over(28)},
	}
	if len(got) != len(want) {
		t.Fatalf("%d rows: %+v", len(got), got)
	}
	for i, w := range want {
		g := got[i]
		if math.Abs(g.Mean.C-w.Mean.C) < 1e-6 && math.Abs(g.Mean.F-w.Mean.F) < 1e-5 {
			g.Mean = w.Mean
		}
		if g != w {
			t.Errorf("row %d:\ngot  %+v\nwant %+v", i, g, w)
		}
	}
}

func TestHoursIndoorsDoNotCount(t *testing.T) {
	got := feed(New(winter(t, book.Entry{What: book.CarriedIn, Nest: "tote", At: date(time.January, 22), Day: true},
		book.Entry{What: book.CarriedOut, Nest: "tote", At: date(time.January, 25), Day: true}), []string{"oak", "tote"}))
	if got[1].Bedding != "straw" || got[1].Hours != (11-4)*24 || got[1].Litters != 1 {
		t.Errorf("%+v", got[1])
	}
}

// A doe that was bred may have kindled from day 27 on, and then the nest is not empty. It was where somebody wrote that she did not.
func TestWhereSheMayHaveKindledNothingIsEmpty(t *testing.T) {
	again := []book.Entry{{What: book.Bred, Litter: 2, Nest: "tote", Doe: "Fern", At: date(time.January, 20), Day: true}}
	for want, more := range map[int][]book.Entry{
		1:  again, // 15 February
		14: append(again, book.Entry{What: book.DidNotKindle, Litter: 2, At: date(time.February, 25), Day: true}),
		4:  append(again, book.Entry{What: book.Moved, Litter: 2, To: "oak", At: date(time.February, 25), Day: true}),
	} {
		got := feed(New(winter(t, more...), []string{"oak", "tote"}))
		if last := got[len(got)-1]; last.Month != time.February || last.Kits || last.Hours != want*24 {
			t.Errorf("%+v, want %d days", last, want)
		}
	}
}

// A difference knows no freezing point.
func TestDifferences(t *testing.T) {
	for c, f := range map[float64]float64{0: 0, 1: 1.8, -5: -9, 10: 18} {
		if got := over(c); got.C != c || got.F != f {
			t.Errorf("%v °C over: %+v", c, got)
		}
	}
}

// As quantile(c(1, 2, 4, 8, 16), c(0.05, 0.5, 0.95)) of R.
func TestQuantile(t *testing.T) {
	for p, want := range map[float64]float64{0.05: 1.2, 0.5: 4, 0.95: 14.4, 1: 16} {
		if got := quantile([]float32{1, 2, 4, 8, 16}, p); math.Abs(got-want) > 1e-12 {
			t.Errorf("%v: %v, want %v", p, got, want)
		}
	}
}
