package yearstest_test

import (
	"math"
	"testing"
	"time"

	"nestmon/tests/years/yearstest"
)

// A story is what was published and what it was told to be: means of 31.73 and 31.67 days of 390 and 346 kindlings on days 28 to 35; 70 to 78 % of the losses before weaning
// in the first week and 16.6 % in the second; conception in 80 to 85 %.
func TestStoriesAreAsPublished(t *testing.T) {
	var bred, kindled, days, early, second, lost, born int
	for seed := range uint64(10) {
		s := yearstest.Tell(seed, 731, seed%2 == 0, 1)
		for _, l := range s.Litters {
			if bred++; l.Kindled == yearstest.None {
				if !l.Failed && l.Bred < s.Days-36 {
					t.Errorf("seed %d, litter %d neither kindled nor failed", seed, l.Number)
				}
				if !l.Failed {
					bred--
				}
				continue
			}
			if carried := int(l.Kindled - l.Bred); carried < 28 || carried > 35 {
				t.Errorf("seed %d, litter %d is carried for %d days", seed, l.Number, carried)
			}
			kindled, days = kindled+1, days+int(l.Kindled-l.Bred)
			for _, k := range l.Kits {
				if born++; k.Dies == yearstest.None {
					continue
				}
				lost++
				switch age := k.Dies - k.Born; {
				case age < 7:
					early++
				case age < 14:
					second++
				}
			}
		}
	}
	share := func(n, of int) float64 { return float64(n) / float64(of) }
	for _, c := range []struct {
		what            string
		got, from, till float64
	}{
		{"days carried", share(days, kindled), 31.6, 31.8},
		{"conception", share(kindled, bred), 0.78, 0.87},
		{"of the losses in week 1", share(early, lost), 0.70, 0.78},
		{"in week 2", share(second, lost), 0.146, 0.186},
		{"survival", share(born-lost, born), 0.80, 0.92},
		{"kits born alive", share(born, kindled), 6.5, 7.8},
	} {
		t.Logf("%s: %.3f", c.what, c.got)
		if c.got < c.from || c.got > c.till || math.IsNaN(c.got) {
			t.Errorf("%s: %.3f, want %g to %g", c.what, c.got, c.from, c.till)
		}
	}
}

// One seed tells one story, in the order of time, with numbers as they are given.
func TestStoryIsInOrder(t *testing.T) {
	a, b := yearstest.Tell(3, 400, true, 1), yearstest.Tell(3, 400, true, 1)
	if len(a.Steps) != len(b.Steps) || len(a.Entries) != len(b.Entries) || a.Steps[len(a.Steps)-1].Day != b.Steps[len(b.Steps)-1].Day {
		t.Error("one seed tells two stories")
	}
	refused, last := 0, 0
	for i, s := range a.Steps {
		if i > 0 && (s.Day < a.Steps[i-1].Day || s.Day == a.Steps[i-1].Day && s.Hour < a.Steps[i-1].Hour) {
			t.Errorf("step %d, %+v, comes before the one before it", i, s)
		}
		if s.Refused != "" {
			refused++
			continue
		}
		for _, said := range s.Said {
			if last++; said.Number != last || said.On > s.Day {
				t.Errorf("step %d: %+v", i, said)
			}
		}
	}
	if refused < 50 {
		t.Errorf("only %d steps cannot be", refused)
	}
}

func TestDays(t *testing.T) {
	loc, err := time.LoadLocation("America/Santiago")
	if err != nil {
		t.Fatal(err)
	}
	for d := range yearstest.Day(731) {
		begin := d.Begins(loc)
		if got := begin.Format(time.DateOnly); got != d.Date() || begin.Add(-time.Second).Format(time.DateOnly) == got || yearstest.On(begin, loc) != d {
			t.Errorf("day %d, %s, begins at %s", d, d.Date(), begin)
		}
	}
}
