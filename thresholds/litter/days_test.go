package litter_test

import (
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// The shipped days against what is published and what the trade says. The means are of 390 and 346 kindlings (Rashwan, Szendrő et al.,
// World Rabbit Science); by litter size they run from 31.32 days with 9 to 14 kits to 32.46 with one or two, by parity from 31.42 to
// 32.15. 28 to 35 days and a dead litter after day 34 stand in a veterinary text, second hand. The rest is common practice, no source.
func TestShippedDaysAgainstWhatIsKnown(t *testing.T) {
	d := litter.DefaultDays()
	for _, mean := range []float64{31.73, 31.67, 31.32, 32.46, 31.42, 32.15} {
		if mean < float64(d.Expected.From) || mean >= float64(d.Expected.To+1) {
			t.Errorf("a mean of %.2f days is not among the expected days %+v", mean, d.Expected)
		}
		if mean < float64(d.Strays.From) || mean >= float64(d.Strays.To+1) || mean > float64(d.Overdue) {
			t.Errorf("at a mean of %.2f days nobody looks for strays, or she counts as overdue", mean)
		}
	}
	for what, c := range map[string]struct{ got, want litter.Window }{
		"kindling, veterinary text":     {d.Kindling, litter.Window{From: 28, To: 35}},
		"pregnancy check, trade":        {d.Pregnancy, litter.Window{From: 10, To: 14}},
		"box in, trade":                 {d.BoxIn, litter.Window{From: 27, To: 29}},
		"kindling, usually, trade":      {d.Expected, litter.Window{From: 31, To: 32}},
		"collected from a tote, trade":  {d.Collect, litter.Window{From: 10, To: 12}},
		"weaned, experiments and trade": {d.Wean, litter.Window{From: 28, To: 8 * 7}},
	} {
		if c.got != c.want {
			t.Errorf("%s: %+v, want %+v", what, c.got, c.want)
		}
	}
	if d.TurnBox != 14 || d.BoxOut.Summer != 3*7 || d.BoxOut.Winter != 4*7 || d.Reseal.Years != 5 || d.Inspect.Every*2 > 28*time.Hour {
		t.Errorf("the trade says otherwise: %+v", d)
	}
	if d.Vet-1 != 34 {
		t.Errorf("the veterinarian is named from day %d; kits are often dead after day 34", d.Vet)
	}
	if problems := problemsOf(d); len(problems) > 0 {
		t.Errorf("the shipped days are refused: %v", problems)
	}
}

func problemsOf(d litter.Days) (all []string) {
	d.Validate(func(path, problem string) { all = append(all, path+": "+problem) })
	return all
}

func TestBeddingDays(t *testing.T) {
	b := litter.DefaultDays().Bedding
	for _, c := range []struct {
		changed, age, day int
		ok                bool
	}{
		{-1, 13, 0, false},
		{-1, 14, 14, true},
		{-1, 20, 14, true},
		{-1, 21, 21, true},
		{-1, 23, 21, true},
		{-1, 24, 24, true},
		{-1, 29, 27, true},
		{12, 14, 14, true}, // two days before: the first day stays
		{13, 14, 0, false}, // the day before serves for it
		{13, 21, 21, true},
		{14, 20, 0, false},
		{20, 22, 0, false},
		{20, 23, 23, true},
		{22, 24, 0, false}, // every third day after the last change
		{22, 25, 25, true},
		{22, 28, 28, true},
	} {
		if day, ok := b.Day(c.changed, c.age); day != c.day || ok != c.ok {
			t.Errorf("changed on day %d, on day %d: %d, %v; want %d, %v", c.changed, c.age, day, ok, c.day, c.ok)
		}
	}
}

func TestNobodyIsAskedToLookAtNight(t *testing.T) {
	berlin, inspect := zone(t, "Europe/Berlin"), litter.DefaultDays().Inspect
	for from, want := range map[string]string{
		"2031-03-29T12:00:00+01:00": "2031-03-29T12:00:00+01:00",
		"2031-03-29T05:59:00+01:00": "2031-03-29T06:00:00+01:00",
		"2031-03-29T20:49:00+01:00": "2031-03-29T20:49:00+01:00",
		"2031-03-29T20:50:00+01:00": "2031-03-30T06:00:00+02:00", // the clocks are put forward in this night
		"2031-03-29T23:30:00+01:00": "2031-03-30T06:00:00+02:00",
		"2031-10-26T01:30:00+02:00": "2031-10-26T06:00:00+01:00",
	} {
		if got := inspect.Daytime(at(t, from), berlin); !got.Equal(at(t, want)) {
			t.Errorf("%s: %s, want %s", from, got.Format(time.RFC3339), want)
		}
	}
}

// A day of the configuration moves the chore and names the configuration, and no study, as its source; one that is switched off is gone.
func TestConfiguredDays(t *testing.T) {
	start := at(t, "2025-03-10T20:00:00Z")
	days := shipped()
	days.BoxIn, days.TurnBox, days.Off = litter.Window{From: 25, To: 26}, 12, []alarm.Name{alarm.RationDue}
	if problems := problemsOf(*days); len(problems) > 0 {
		t.Fatal(problems)
	}
	found := map[alarm.Name]litter.Due{}
	for _, l := range []litter.Litter{{Bred: start}, {Kindled: start}} {
		c := litter.Clock{Days: days, Litter: l, Kind: brood.WoodenBox, Season: brood.Mild, Loc: time.UTC}
		for _, d := range c.Chores(start) {
			found[d.Event] = d
		}
	}
	for name, want := range map[alarm.Name]struct {
		day    int
		source string
	}{
		alarm.BoxDue: {25, "configuration, chores.box_in"}, alarm.TurnBoxDue: {12, "configuration, chores.turn_box"},
		alarm.WeanDue: {28, "28 to 35 days in experiments"},
	} {
		d := found[name]
		if !strings.HasPrefix(d.Source, want.source) || litter.Day(start, d.From, time.UTC) != want.day {
			t.Errorf("%s: %+v", name, d)
		}
	}
	if d, on := found[alarm.RationDue]; on {
		t.Errorf("switched off, and yet: %+v", d)
	}
}

// Whatever is silent must cost nobody's life.
func TestWhatMayBeSwitchedOff(t *testing.T) {
	refused := 0
	for _, name := range alarm.Names {
		d := litter.DefaultDays()
		d.Off = []alarm.Name{name}
		problems := problemsOf(d)
		switch dangerous := name.Chore() && len(problems) > 0; {
		case !name.Chore() && len(problems) == 0:
			t.Errorf("%s is no chore and was switched off", name)
		case dangerous && !strings.Contains(problems[0], "cannot be switched off, for"):
			t.Errorf("%s is neither allowed nor refused with a reason: %v", name, problems)
		case dangerous:
			refused++
		}
	}
	if refused != 7 {
		t.Errorf("%d chores cannot be switched off, want 7", refused)
	}
}

// What an inspection looks for fits the age.
func TestLookFor(t *testing.T) {
	for age, want := range map[int][]string{
		0:  {"dead kits", "strays", "full and round", "a day or two", "never feed it cold", "treat"},
		6:  {"dead kits", "strays", "full and round", "Warm a limp cold kit slowly", "treat"},
		15: {"dead kits", "eyes", "back in the nest by evening", "treat"},
	} {
		for _, part := range want {
			if text := litter.LookFor(age); !strings.Contains(text, part) {
				t.Errorf("day %d: %q is not in %q", age, part, text)
			}
		}
	}
}
