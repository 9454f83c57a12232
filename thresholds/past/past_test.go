package past_test

import (
	"cmp"
	"fmt"
	"slices"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/nest"
	"nestmon/thresholds/past"
)

func zone(t testing.TB) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// life is two litters of a doe in oak: bred on February 1, born on March 4 at two in the afternoon, the box taken out on March 26, bred again
// on March 20, weaned on April 8; the box put in on April 17, born on April 20, of which only the day is known. The clocks change on March 9.
func life(t testing.TB) (*book.Book, *time.Location) {
	loc := zone(t)
	day := func(m time.Month, d, h int) time.Time { return time.Date(2031, m, d, h, 0, 0, 0, loc) }
	kits := func(n int) *int { return &n }
	entries := []book.Entry{
		{What: book.Bred, Litter: 1, Nest: "oak", At: day(2, 1, 0), Day: true},
		{What: book.BoxIn, Litter: 1, Nest: "oak", At: day(3, 1, 9)},
		{What: book.Kindled, Litter: 1, Nest: "oak", At: day(3, 4, 14), Kits: kits(7), Season: brood.Winter},
		{What: book.Lost, Litter: 1, Nest: "oak", At: day(3, 6, 8), Kits: kits(1), Cause: book.Chilled},
		{What: book.Bred, Litter: 2, Nest: "oak", At: day(3, 20, 0), Day: true},
		{What: book.Did, Litter: 1, Nest: "oak", At: day(3, 26, 10), Chore: alarm.RemoveBoxDue},
		{What: book.Weaned, Litter: 1, Nest: "oak", At: day(4, 8, 10), Kits: kits(6)},
		{What: book.BoxIn, Litter: 2, Nest: "oak", At: day(4, 17, 9)},
		{What: book.Kindled, Litter: 2, Nest: "oak", At: day(4, 20, 0), Day: true, Kits: kits(8)},
	}
	b, _, _, err := book.New(book.Rules{Location: loc, Nests: map[string]brood.Kind{"oak": brood.WoodenBox}}, nil).With(day(5, 30, 0), entries...)
	if err != nil {
		t.Fatal(err)
	}
	return b, loc
}

func input(b *book.Book, loc *time.Location) *past.Input {
	return &past.Input{
		Nest: "oak", Kind: brood.WoodenBox, From: time.Date(2031, 1, 28, 0, 0, 0, 0, loc), To: time.Date(2031, 5, 28, 0, 0, 0, 0, loc),
		Records: b.Records(), Entries: b.Nest("oak"), Tables: brood.DefaultTables(), Location: loc,
	}
}

func c(v *float64) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprint(*v)
}

// The dates are worked out by hand from the tables of package brood: rows of 0-3, 4-7, 8-13, 14-20 and 21-28 days.
func TestLimitsChangeWithAge(t *testing.T) {
	b, loc := life(t)
	var got []string
	for _, x := range past.Bands(input(b, loc)) {
		got = append(got, fmt.Sprintf("%s litter %d day %d-%d cluster %s %s air %s %s %s", x.From.In(loc).Format("01-02 15:04"), x.Litter, x.Day, x.LastDay,
			c(x.ClusterCold), c(x.ClusterHot), c(x.AirCold), c(x.AirHot), c(x.AirHotUrgent)))
	}
	want := []string{
		"01-28 00:00 litter 0 day -1--1 cluster - - air - 30 35",
		"02-01 00:00 litter 1 day -1--1 cluster - - air - 30 35",
		"03-04 14:00 litter 1 day 0-3 cluster 34 39 air 15 30 35",
		"03-08 00:00 litter 1 day 4-7 cluster 32 39 air 12 30 35",
		"03-12 00:00 litter 1 day 8-13 cluster 29 38.5 air 8 29 34",
		"03-18 00:00 litter 1 day 14-20 cluster 25 38 air 4 28 33",
		"03-25 00:00 litter 1 day 21-22 cluster 15 36 air 0 28 32",
		"03-26 10:00 litter 1 day 22-28 cluster - - air - 28 32", // the box is out
		"04-02 00:00 litter 2 day -1--1 cluster - - air - 30 35",
		"04-20 00:00 litter 2 day 0-3 cluster 34 39 air 15 30 35",
		"04-24 00:00 litter 2 day 4-7 cluster 32 39 air 12 30 35",
		"04-28 00:00 litter 2 day 8-13 cluster 29 38.5 air 8 29 34",
		"05-04 00:00 litter 2 day 14-20 cluster 25 38 air 4 28 33",
		"05-11 00:00 litter 2 day 21-28 cluster 15 36 air 0 28 32",
		"05-19 00:00 litter 2 day 29-37 cluster - - air - 28 32",
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s", join(got))
	}
	in := input(b, loc)
	in.From = time.Date(2031, 4, 21, 0, 0, 0, 0, loc)
	if first := past.Bands(in)[0]; first.Season != "" || !first.DayOnly || first.Proposed {
		t.Errorf("%+v", first)
	}
	in.From = time.Date(2031, 3, 5, 0, 0, 0, 0, loc)
	if first := past.Bands(in)[0]; first.Season != brood.Winter || first.DayOnly {
		t.Errorf("%+v", first)
	}
}

func join(lines []string) (text string) {
	for _, l := range lines {
		text += l + "\n"
	}
	return text
}

// What was in force then is what a rabbitry that lives through it shows at each hour.
func TestLimitsAreThoseOfThatTime(t *testing.T) {
	b, loc := life(t)
	in := input(b, loc)
	var probes []sensors.Probe
	for _, id := range []string{"cluster", "air"} {
		probes = append(probes, sensors.Probe{ID: id, Quantities: sensors.Quantities[:1], Interval: time.Hour, StaleAfter: sensors.DefaultStaleAfter(time.Hour)})
	}
	r, err := thresholds.New(thresholds.Config{
		Location: loc, Poll: time.Hour, Probes: probes, Limits: in.Tables, Nests: []nest.Config{{ID: "oak", Kind: brood.WoodenBox, Cluster: []string{"cluster"}, Air: "air"}},
	})
	if err != nil {
		t.Fatal(err)
	}
	r.SetLitters(b.Litters(in.To), in.From)
	bands, at := past.Bands(in), 0
	for now := in.From; now.Before(in.To); now = now.Add(time.Hour) {
		for _, e := range in.Entries {
			for _, name := range e.Done() {
				if !e.At.Equal(now) {
					continue
				}
				if err := r.Done("oak", name, now); err != nil {
					t.Fatal(err)
				}
			}
		}
		r.Observe(now, nil)
		for !now.Before(bands[at].To) {
			at++
		}
		n, band := r.Snapshot().Nests[0], bands[at]
		got, want := fmt.Sprint(c(band.ClusterCold), c(band.ClusterHot), c(band.AirCold), c(band.AirHot), c(band.AirHotUrgent)),
			fmt.Sprint(c(n.Limits.ClusterCold), c(n.Limits.ClusterHot), c(n.Limits.AirCold), c(n.Limits.AirHot), c(n.Limits.AirHotUrgent))
		if got != want {
			t.Fatalf("at %s: %s, and lived through %s (age %d)", now, got, want, n.AgeDays)
		}
	}
}

func TestAProposedKindlingCounts(t *testing.T) {
	loc := zone(t)
	bred := time.Date(2031, 2, 1, 0, 0, 0, 0, loc)
	b, _, _, err := book.New(book.Rules{Location: loc, Nests: map[string]brood.Kind{"oak": brood.BuriedTote}}, nil).With(bred.AddDate(0, 0, 40), book.Entry{What: book.Bred, Litter: 1, Nest: "oak", At: bred, Day: true})
	if err != nil {
		t.Fatal(err)
	}
	in := input(b, loc)
	in.Kind, in.Proposed = brood.BuriedTote, map[int64]time.Time{1: bred.AddDate(0, 0, 31).Add(3 * time.Hour)}
	for _, x := range past.Bands(in) {
		if x.Proposed != (x.ClusterCold != nil || x.Day > brood.LastClusterDay) {
			t.Errorf("%+v", x)
		}
	}
}

func TestMarks(t *testing.T) {
	b, loc := life(t)
	in := input(b, loc)
	at := func(d, h int) time.Time { return time.Date(2031, 3, d, h, 0, 0, 0, loc) }
	event := func(name alarm.Name, state alarm.State, s alarm.Severity, since, when time.Time, text string) alarm.Event {
		return alarm.Event{Nest: "oak", Name: name, State: state, Severity: s, Since: since, Time: when, Text: text}
	}
	in.From, in.To = at(5, 0), at(12, 0)
	in.Events = []alarm.Event{
		event(alarm.NestCold, alarm.Cleared, alarm.Warning, at(4, 20), at(5, 2), "began before"),
		event(alarm.NestHeat, alarm.Cleared, alarm.Urgent, at(4, 1), at(4, 3), "over before"),
		event(alarm.ClusterChill, alarm.Raised, alarm.Warning, at(6, 1), at(6, 2), "cold"),
		event(alarm.Visit, alarm.Noted, alarm.Notice, at(6, 3), at(6, 3), "came"),
		event(alarm.ClusterChill, alarm.Raised, alarm.Urgent, at(6, 1), at(6, 4), "colder"),
		event(alarm.Inspection, alarm.Noted, alarm.Notice, at(6, 5), at(6, 5), "opened"),
		event(alarm.ClusterChill, alarm.Cleared, alarm.Urgent, at(6, 1), at(6, 6), "warm again"),
		event(alarm.InspectDue, alarm.Raised, alarm.Notice, at(7, 8), at(7, 8), "look"),
		event(alarm.SeasonSetupDue, alarm.Raised, alarm.Notice, at(8, 8), at(8, 8), "summer"),
		event(alarm.DoeHeat, alarm.Cleared, alarm.Warning, at(1, 0), at(20, 0), "all along"),
		event(alarm.SeasonSetupDue, alarm.Cleared, alarm.Notice, at(8, 8), at(14, 8), "set up"),
	}
	in.Events[6].Probe = "another" // the deciding probe may change
	in.Standing = []alarm.Standing{
		{Event: event(alarm.InspectDue, alarm.Raised, alarm.Notice, at(7, 8), at(7, 8), "look")},
		{Event: event(alarm.NestHeat, alarm.Raised, alarm.Urgent, at(1, 8), at(1, 9), "since long")},
		{Event: alarm.Event{Nest: "elm", Name: alarm.NestHeat, Severity: alarm.Urgent, Since: at(6, 1)}},
	}
	say := func(marks []past.Mark) (got []string) {
		for _, m := range marks {
			until := "-"
			if !m.Until.IsZero() {
				until = m.Until.In(loc).Format("02 15")
			}
			got = append(got, fmt.Sprintf("%s %s %s %v %s", m.At.In(loc).Format("02 15"), until, m.Kind, m.On, cmp.Or(m.Event.Text, string(m.Entry.What))))
		}
		return got
	}
	marks, left := past.Marks(in, 100)
	want := []string{
		"01 00 20 00 warning false all along",
		"01 08 - urgent true since long",
		"04 20 05 02 warning false began before",
		"06 01 06 06 urgent false colder",
		"06 03 - visit false came",
		"06 05 - opened false opened",
		"06 08 - loss false lost",
		"07 08 - chore true look",
		"08 08 14 08 season false summer",
	}
	if got := say(marks); !slices.Equal(got, want) || len(left) != 0 {
		t.Errorf("%v, got\n%s", left, join(got))
	}
	marks, left = past.Marks(in, 4)
	if got := say(marks); !slices.Equal(got, []string{want[1], want[2], want[3], want[6]}) || len(left) != 5 || left[past.Visit] != 1 {
		t.Errorf("%v, got\n%s", left, join(got))
	}
	in.From = time.Date(2031, 3, 1, 0, 0, 0, 0, loc)
	in.To = time.Date(2031, 5, 28, 0, 0, 0, 0, loc)
	in.Events, in.Standing = nil, nil
	marks, _ = past.Marks(in, 100)
	if got := say(marks); len(got) != 8 || got[1] != "04 14 - birth false kindled" {
		t.Errorf("got\n%s", join(got))
	}
}
