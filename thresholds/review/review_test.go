package review_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/review"
)

var (
	nests = map[string]brood.Kind{"oak": brood.WoodenBox, "elm": brood.MetalBox, "dell": brood.BuriedTote}
	born  = at(0, 4)
)

// at is an hour of a day of age.
func at(day, hour int) time.Time { return time.Date(2031, time.March, 2+day, hour, 0, 0, 0, time.UTC) }

func n(kits int) *int { return &kits }

// story is an Input under construction.
type story struct {
	review.Input
	t       *testing.T
	entries []book.Entry
}

// newStory is a litter of eight, born in oak at four in the morning and never weaned, with a pile at 37 °C and air at 20 in every hour.
func newStory(t *testing.T, days int) *story {
	t.Helper()
	s := &story{t: t, Input: review.Input{
		Probes: map[string]review.Probes{"oak": {Cluster: true, Air: true}, "elm": {Cluster: true, Air: true}, "dell": {Cluster: true, Air: true}},
		Tables: brood.DefaultTables(), Location: time.UTC, Now: at(days, 0), ActsSince: at(-60, 0),
	}}
	s.write(book.Entry{What: book.Bred, Nest: "oak", At: at(-31, 0), Doe: "Hazel"}, book.Entry{What: book.Kindled, Nest: "oak", At: born, Kits: n(8)})
	s.measure("oak", 0, days)
	for h := at(0, 0); h.Before(at(days, 0)); h = h.Add(time.Hour) {
		s.Outside = append(s.Outside, review.Sample{At: h, Value: steady(10)})
	}
	return s
}

func steady(c float64) review.Value {
	return review.Value{N: 120, Min: c - 0.2, Mean: c, Max: c + 0.2}
}

func (s *story) write(entries ...book.Entry) { s.entries = append(s.entries, entries...) }

func (s *story) measure(nest string, from, to int) {
	for h := at(from, 0); h.Before(at(to, 0)); h = h.Add(time.Hour) {
		pile := 37.0
		if h.After(at(14, 0)) {
			pile = 32 // kits lie looser
		}
		s.Hours = append(s.Hours, review.Hour{Nest: nest, At: h, Cluster: steady(pile), Air: steady(20)})
	}
}

// change edits the hours from one to another; an hour of which nothing is left goes.
func (s *story) change(from, to time.Time, f func(*review.Hour)) {
	var kept []review.Hour
	for _, h := range s.Hours {
		if !h.At.Before(from) && h.At.Before(to) {
			f(&h)
		}
		if h.Cluster.Known() || h.Air.Known() {
			kept = append(kept, h)
		}
	}
	s.Hours = kept
}

func (s *story) tell() *review.Review {
	s.t.Helper()
	b, _, _, err := book.New(book.Rules{Location: s.Location, Nests: nests}, nil).With(at(200, 0), s.numbered()...)
	if err != nil {
		s.t.Fatal(err)
	}
	s.Record, s.Entries = b.Record(1), nil
	s.Entries = append(s.Entries, b.Entries()...)
	s.Entries = append(s.Entries, book.Entry{What: book.Did, Litter: 7, Chore: alarm.BeddingDue, At: at(8, 9)}) // another litter's, who knows where
	r, err := review.Of(s.Input)
	if err != nil {
		s.t.Fatal(err)
	}
	return r
}

// numbered are the entries, about litter 1 unless they are a chore's.
func (s *story) numbered() []book.Entry {
	var out []book.Entry
	for _, e := range s.entries {
		if e.What != book.Did {
			e.Litter = 1
		}
		out = append(out, e)
	}
	return out
}

func said(r *review.Review) string {
	var all []string
	for _, c := range r.Conclusions {
		all = append(all, c.Text)
	}
	return strings.Join(all, " ")
}

func cluster(v review.Value) func(*review.Hour) { return func(h *review.Hour) { h.Cluster = v } }
func air(v review.Value) func(*review.Hour)     { return func(h *review.Hour) { h.Air = v } }

func TestHoursAgainstTheLimitsOfTheirAge(t *testing.T) {
	for name, c := range map[string]struct {
		from, to   time.Time
		change     func(*review.Hour)
		pile, nest func(j *review.Judged) // what the change adds to the quiet story
	}{
		"under the limit":                       {at(1, 0), at(1, 5), cluster(steady(33.9)), func(j *review.Judged) { j.Cold += 5 }, nil},
		"just over it":                          {at(1, 0), at(1, 5), cluster(review.Value{N: 120, Min: 34, Mean: 34, Max: 34}), nil, nil},
		"under the critical one":                {at(1, 0), at(1, 5), cluster(steady(29)), func(j *review.Judged) { j.Cold += 5; j.ColdCritical += 5 }, nil},
		"a nursing":                             {at(1, 0), at(1, 1), cluster(review.Value{N: 120, Min: 33, Mean: 36, Max: 37}), func(j *review.Judged) { j.ColdInPart++ }, nil},
		"the limit falls with age":              {at(3, 22), at(4, 2), cluster(steady(33)), func(j *review.Judged) { j.Cold += 2 }, nil},
		"for information only":                  {at(22, 0), at(22, 5), cluster(steady(10)), nil, nil},
		"but not under the critical one":        {at(22, 0), at(22, 5), cluster(steady(4)), func(j *review.Judged) { j.Cold += 5; j.ColdCritical += 5 }, nil},
		"no limit any more":                     {at(29, 0), at(29, 5), cluster(steady(4)), nil, nil},
		"over the limit":                        {at(1, 0), at(1, 5), cluster(steady(39.5)), func(j *review.Judged) { j.Hot += 5 }, nil},
		"over it for minutes, and critical":     {at(1, 0), at(1, 1), cluster(review.Value{N: 120, Min: 37, Mean: 38, Max: 40.1}), func(j *review.Judged) { j.HotInPart++; j.HotCritical++ }, nil},
		"before the birth":                      {at(0, 0), at(0, 4), cluster(steady(10)), nil, nil},
		"nothing for a while":                   {at(1, 0), at(1, 5), func(h *review.Hour) { h.Cluster, h.Air = review.Value{}, review.Value{} }, func(j *review.Judged) { j.Judged -= 5 }, func(j *review.Judged) { j.Judged -= 5 }},
		"few readings":                          {at(1, 0), at(1, 5), func(h *review.Hour) { h.Cluster.N = 59 }, func(j *review.Judged) { j.Few += 5 }, nil},
		"hot air":                               {at(1, 0), at(1, 5), air(steady(31)), nil, func(j *review.Judged) { j.Hot += 5 }},
		"air too hot for minutes":               {at(1, 0), at(1, 5), air(review.Value{N: 120, Min: 20, Mean: 28, Max: 30.1}), nil, func(j *review.Judged) { j.HotInPart += 5 }},
		"cold air":                              {at(1, 0), at(1, 5), air(steady(4)), nil, func(j *review.Judged) { j.Cold += 5; j.ColdCritical += 5 }},
		"air that was dangerously hot, at last": {at(1, 0), at(1, 1), air(review.Value{N: 120, Min: 20, Mean: 28, Max: 35.1}), nil, func(j *review.Judged) { j.HotInPart++; j.HotCritical++ }},
	} {
		t.Run(name, func(t *testing.T) {
			quiet, s := newStory(t, 30).tell(), newStory(t, 30)
			s.change(c.from, c.to, c.change)
			r := s.tell()
			for place, p := range map[string]struct {
				want, got review.Judged
				change    func(*review.Judged)
			}{"pile": {quiet.Pile, r.Pile, c.pile}, "air": {quiet.Nest, r.Nest, c.nest}} {
				if p.change != nil {
					p.change(&p.want)
				}
				p.want.Low, p.want.High = p.got.Low, p.got.High
				if p.got != p.want {
					t.Errorf("%s: %+v, want %+v", place, p.got, p.want)
				}
			}
		})
	}
	r := newStory(t, 30).tell()
	if want := 29*24 - 4; r.Pile.Expected != want || r.Nest.Expected != want+24 {
		t.Errorf("%d h of the pile and %d h of air, want %d and %d", r.Pile.Expected, r.Nest.Expected, want, want+24)
	}
}

// Where nothing was measured nothing went well.
func TestNoDataIsNoAllClear(t *testing.T) {
	silent := func(h *review.Hour) { h.Cluster, h.Air = review.Value{}, review.Value{} }
	for name, c := range map[string]struct {
		change      func(*story)
		says, hides string
	}{
		"all well":            {func(*story) {}, "Went well: over 476 h the pile's probe kept within the limits", "the pile for"},
		"a day of silence":    {func(s *story) { s.change(at(2, 0), at(3, 2), silent) }, "not known to be fine: the pile for 26 h of 476 h; nest air for 26 h of 476 h", "Went well: over"},
		"silent all the time": {func(s *story) { s.change(at(0, 0), at(20, 0), silent) }, "the pile for 476 h of 476 h", "Went well: over"},
		"few readings": {func(s *story) {
			s.change(at(2, 0), at(4, 0), func(h *review.Hour) { h.Cluster.N = 3 })
		}, "48 h with few readings", "Went well: over"},
		"no cluster probe":        {func(s *story) { s.Probes["oak"] = review.Probes{Air: true} }, "the pile itself: the nest has no cluster probe", "Went well: over"},
		"no probe":                {func(s *story) { delete(s.Probes, "oak") }, "the nest: no probe of it is in the configuration", "Went well: over"},
		"nothing outside":         {func(s *story) { s.Outside = nil }, "the air outside", "the pile for"},
		"acts not kept then":      {func(s *story) { s.ActsSince = at(3, 0); s.alarm(1, 2, alarm.Urgent) }, "who answered the alarms", "answered by nobody"},
		"nobody counted":          {func(s *story) { s.entries[1].Kits = nil }, "Nobody counted the kits at birth", "live by the book"},
		"a birth without an hour": {func(s *story) { s.entries[1].At, s.entries[1].Day = at(0, 0), true }, "the day of birth, of which the book gives no hour", "over 476 h"},
	} {
		t.Run(name, func(t *testing.T) {
			s := newStory(t, 20)
			c.change(s)
			if got := said(s.tell()); !strings.Contains(got, c.says) || strings.Contains(got, c.hides) {
				t.Errorf("%q should say %q and not %q", got, c.says, c.hides)
			}
		})
	}
}

// A birth of which only the day is known is judged from where the probes saw it.
func TestBirthOfADay(t *testing.T) {
	s := newStory(t, 10)
	s.entries[1].At, s.entries[1].Day = at(0, 0), true
	s.change(at(0, 0), at(0, 20), cluster(steady(12)))
	if r := s.tell(); r.Pile.Cold != 0 || r.Pile.Expected != 9*24 || !r.Late.Equal(at(1, 0)) {
		t.Errorf("cold %d of %d h, judged from %s", r.Pile.Cold, r.Pile.Expected, r.Late)
	}
	s.Events = append(s.Events, alarm.Event{Nest: "oak", Name: alarm.Kindled, State: alarm.Noted, Time: at(0, 23), Since: at(0, 18)})
	if r := s.tell(); r.Pile.Cold != 2 || r.Pile.Expected != 9*24+6 {
		t.Errorf("seen at 18 h: cold %d of %d h", r.Pile.Cold, r.Pile.Expected)
	}
}

func TestLossesBesideTheWeather(t *testing.T) {
	s := newStory(t, 20)
	s.change(at(2, 1), at(2, 5), cluster(steady(28)))
	s.alarm(2, 3, alarm.Urgent)
	s.change(at(2, 6), at(2, 8), func(h *review.Hour) { h.Cluster = review.Value{} })
	for i := range s.Outside {
		if s.Outside[i].At.Before(at(3, 0)) && s.Outside[i].At.After(at(2, 2)) {
			s.Outside[i].Value = steady(-7)
		}
	}
	s.write(book.Entry{What: book.Lost, At: at(2, 0), Day: true, Kits: n(3), Cause: book.Chilled},
		book.Entry{What: book.Lost, At: at(6, 0), Day: true, Kits: n(1), Cause: book.Crushed}, book.Entry{What: book.Lost, At: at(6, 0), Day: true, Kits: n(1), Cause: book.Other},
		book.Entry{What: book.Weaned, At: at(19, 9), Kits: n(2)})
	r := s.tell()
	if len(r.Losses) != 3 || r.Lost != 6 {
		t.Fatalf("%d lost on %+v", r.Lost, r.Losses)
	}
	if l := r.Losses[0]; l.Age != 2 || l.Kits != 3 || l.Cold != 4 || l.Judged != 34 || l.Missing != 2 || l.Pile.Min != 27.8 || l.Outside.Min != -7.2 || l.Outside.Max != 10.2 {
		t.Errorf("%+v", l)
	}
	if l := r.Losses[1]; l.Kits != 2 || l.Cold != 0 || l.Words() != "1 entered as crushed, 1 entered as of another cause" {
		t.Errorf("%+v, %s", l, l.Words())
	}
	if l := r.Losses[2]; l.Age != 19 || l.Kits != 1 || l.Words() != "missing at a count" {
		t.Errorf("%+v, %s", l, l.Words())
	}
	for _, want := range []string{
		"2 of 8 kits lived to weaning on day 19.",
		"3 of 8 were lost on day 2, entered as chilled: around then the pile's probe read under 34 °C (93.2 °F) for 4 of 34 h, lowest 27.8 °C, the alarm for a chilled pile stood for 3 h, 2 h brought nothing, outside it was -7 to 10 °C.",
		"ask a veterinarian",
	} {
		if got := said(r); !strings.Contains(got, want) {
			t.Errorf("%q does not say %q", got, want)
		}
	}
}

func TestSurvival(t *testing.T) {
	for name, c := range map[string]struct {
		days    int
		entries []book.Entry
		want    string
	}{
		"young":            {2, nil, "day 3 not that old yet|day 10 not that old yet|day 21 not that old yet|weaning not weaned yet"},
		"on the third day": {3, nil, "day 3 not that old yet|day 10 not that old yet|day 21 not that old yet|weaning not weaned yet"},
		"losses and foster": {40, []book.Entry{
			{What: book.Lost, At: at(3, 20), Kits: n(1), Cause: book.Other},
			{What: book.Lost, At: at(4, 0), Kits: n(2), Cause: book.Other},
			{What: book.Weaned, At: at(36, 8), Kits: n(5)},
		}, "day 3 7/8|day 10 5/8|day 21 5/8|weaning 5/8"},
		"none left":  {40, []book.Entry{{What: book.Lost, At: at(5, 0), Kits: n(8), Cause: book.Unfed}}, "day 3 8/8|day 10 0/8|day 21 0/8|weaning 0/8"},
		"given away": {40, []book.Entry{{What: book.Ended, At: at(12, 0)}}, "day 3 8/8|day 10 8/8|day 21 the book ends before|weaning no weaning in the book"},
	} {
		t.Run(name, func(t *testing.T) {
			s := newStory(t, c.days)
			s.write(c.entries...)
			var got []string
			for _, v := range s.tell().Survival {
				said := v.Why
				if said == "" {
					said = string(rune('0'+v.Alive)) + "/" + string(rune('0'+v.Of))
				}
				got = append(got, v.Name+" "+said)
			}
			if all := strings.Join(got, "|"); all != c.want {
				t.Errorf("%s, want %s", all, c.want)
			}
		})
	}
}

// The trace follows the stays, and ends where the kits leave the last nest with a probe.
func TestKitsThatMove(t *testing.T) {
	s := newStory(t, 40)
	s.change(at(5, 0), at(40, 0), func(h *review.Hour) { h.Cluster, h.Air = review.Value{}, review.Value{} })
	s.measure("dell", 0, 40)
	s.write(book.Entry{What: book.Moved, At: at(5, 10), Nest: "oak", To: "dell"}, book.Entry{What: book.Collected, At: at(11, 9), Nest: "dell", To: "cage 4", Kits: n(8)},
		book.Entry{What: book.Weaned, At: at(35, 9), Kits: n(8)})
	r := s.tell()
	if len(r.Spans) != 3 || r.Spans[1].Nest != "dell" || r.Spans[2].Watched() {
		t.Fatalf("%+v", r.Spans)
	}
	last := r.Hours[len(r.Hours)-1]
	if last.Nest != "dell" || !last.At.Equal(at(11, 8)) || r.Pile.Expected != 11*24+5 || r.Pile.Missing() != 10 {
		t.Errorf("the trace ends at %s in %s, %d of %d h missing", last.At, last.Nest, r.Pile.Missing(), r.Pile.Expected)
	}
	if d := r.Days[20]; len(r.Days) != 36 || d.Judged != 0 || !d.Outside.Known() {
		t.Errorf("%d days, day 20 %+v", len(r.Days), d)
	}
	if got := said(r); !strings.Contains(got, "the 24 days from day 11 on, when the kits lay where no probe is") {
		t.Error(got)
	}
}

func (s *story) alarm(day, hours int, severity alarm.Severity) {
	e := alarm.Event{Nest: "oak", Name: alarm.ClusterChill, State: alarm.Raised, Severity: severity, Time: at(day, 1), Since: at(day, 0)}
	over := e
	over.State, over.Time = alarm.Cleared, at(day, 1+hours)
	s.Events = append(s.Events, e, over)
}

func TestWhoAnswered(t *testing.T) {
	s := newStory(t, 20)
	s.alarm(1, 2, alarm.Warning)
	s.alarm(3, 5, alarm.Urgent)
	s.alarm(6, 3, alarm.Urgent)
	s.alarm(8, 3, alarm.Notice)
	s.Events = append(s.Events, alarm.Event{Nest: "elm", Name: alarm.ClusterChill, State: alarm.Raised, Severity: alarm.Urgent, Time: at(9, 0)},
		alarm.Event{Nest: "oak", Name: alarm.BeddingDue, State: alarm.Raised, Severity: alarm.Warning, Time: at(9, 0)})
	s.Acts = []alarm.Act{
		{Action: alarm.Acknowledge, Nest: "oak", Event: alarm.NestHeat, At: at(1, 1)},                           // another alarm
		{Action: alarm.Acknowledge, Nest: "oak", Event: alarm.ClusterChill, At: at(1, 1).Add(20 * time.Minute)}, // answers the first
		{Action: alarm.Unshelve, Nest: "oak", Event: alarm.ClusterChill, At: at(3, 1).Add(time.Minute)},         // answers nothing
		{Action: alarm.Shelve, Nest: "oak", At: at(3, 2)},                                                       // all of the nest
		{Action: alarm.Acknowledge, Nest: "elm", Event: alarm.ClusterChill, At: at(6, 1).Add(time.Minute)},      // another nest
	}
	r := s.tell()
	if len(r.Alarms) != 1 {
		t.Fatalf("%+v", r.Alarms)
	}
	if a := r.Alarms[0]; a.Times != 3 || a.Answered != 2 || a.Median != 40*time.Minute || a.Slowest != time.Hour || a.Worst != alarm.Urgent || a.Lasted != 10*time.Hour {
		t.Errorf("%+v", a)
	}
	if got := said(r); !strings.Contains(got, "1 of 3 alarms was answered by nobody.") {
		t.Error(got)
	}
}

func (s *story) visit(at time.Time) {
	s.Events = append(s.Events, alarm.Event{Nest: "oak", Name: alarm.Visit, State: alarm.Noted, Time: at.Add(28 * time.Minute), Since: at})
}

func TestVisits(t *testing.T) {
	s := newStory(t, 12)
	for d := range 12 {
		if d != 8 {
			s.visit(at(d, 20))
		}
	}
	s.change(at(3, 6), at(3, 8), func(h *review.Hour) { h.Air = review.Value{} })
	v := s.tell().Visits
	if v.Seen != 11 || v.Intervals != 9 || v.Median != 24*time.Hour || v.Longest != 48*time.Hour || !v.From.Equal(at(7, 20)) {
		t.Errorf("%+v", v)
	}
	s.change(at(8, 0), at(8, 1), func(h *review.Hour) { h.Cluster = review.Value{} })
	if v := s.tell().Visits; v.Longest != 43*time.Hour || !v.From.Equal(at(8, 1)) {
		t.Errorf("with a hole: %+v", v)
	}
}

func TestBeddingAndBox(t *testing.T) {
	s := newStory(t, 30)
	s.write(book.Entry{What: book.Did, Nest: "oak", Chore: alarm.TurnBoxDue, At: at(14, 0), Day: true}, book.Entry{What: book.Did, Nest: "oak", Chore: alarm.BeddingDue, Bedding: "straw", At: at(14, 9)},
		book.Entry{What: book.Did, Nest: "elm", Chore: alarm.BeddingDue, At: at(15, 0)}, book.Entry{What: book.Did, Chore: alarm.SeasonSetupDue, At: at(17, 9)},
		book.Entry{What: book.Did, Nest: "oak", Chore: alarm.RemoveBoxDue, At: at(28, 9)}, book.Entry{What: book.Did, Nest: "oak", Chore: alarm.InspectDue, At: at(0, 0), Day: true})
	r := s.tell()
	if len(r.Bedding) != 2 || r.Bedding[0].Age != 14 || r.Bedding[1].Age != 17 || !r.Days[14].Bedding || r.Days[15].Bedding {
		t.Errorf("%+v", r.Bedding)
	}
	if r.Days[0].Marked != 1 {
		t.Error("an inspection on the day of birth does not count")
	}
	if last := r.Hours[len(r.Hours)-1]; !last.At.Equal(at(28, 8)) || !r.Spans[0].BoxOut {
		t.Errorf("the trace ends at %s", last.At)
	}
}

func TestGrowth(t *testing.T) {
	s := newStory(t, 40)
	for day, grams := range map[int]float64{0: 400, 7: 920, 10: 1240, 15: 2000, 35: 7400} {
		s.write(book.Entry{What: book.Weighed, At: at(day, 9), Kits: n(8), Grams: grams})
	}
	for i, want := range []struct{ each, aDay, low, high float64 }{
		{50, 0, 42.5, 53.2}, {115, 65.0 / 7, 111, 120}, {155, 40.0 / 3, 135, 150}, {250, 19, 0, 0}, {925, 33.75, 888, 966},
	} {
		w := s.tell().Weights[i]
		if w.Each != want.each || w.ADay != want.aDay || w.Low != want.low || w.High != want.high {
			t.Errorf("day %d: %+v, want %+v", w.Age, w, want)
		}
	}
}

// What is published as a multiple of the weight at birth needs that weight.
func TestGrowthOfUnknownBirth(t *testing.T) {
	s := newStory(t, 40)
	s.write(book.Entry{What: book.Weighed, At: at(10, 9), Kits: n(8), Grams: 1240})
	if w := s.tell().Weights[0]; w.Published != nil {
		t.Errorf("%+v", w)
	}
}

// An alarm that grew worse is one alarm, answered when somebody answered it.
func TestAnsweredAfterItGrewWorse(t *testing.T) {
	s := newStory(t, 20)
	s.alarm(1, 4, alarm.Warning)
	worse := s.Events[0]
	worse.Time, worse.Severity = at(1, 2), alarm.Urgent
	again := worse
	again.Time = at(1, 2).Add(30 * time.Minute)
	s.Events = []alarm.Event{s.Events[0], worse, again, s.Events[1]}
	s.Acts = []alarm.Act{{Action: alarm.Acknowledge, Nest: "oak", Event: alarm.ClusterChill, At: at(1, 3)}}
	if a := s.tell().Alarms; len(a) != 1 || a[0].Times != 1 || a[0].Answered != 1 || a[0].Median != 2*time.Hour || a[0].Worst != alarm.Urgent {
		t.Errorf("%+v", a)
	}
}

func TestNothingToLookBackOn(t *testing.T) {
	for name, entries := range map[string][]book.Entry{
		"enter its kindling first": {{What: book.Bred, Nest: "oak", At: at(-31, 0)}},
		"did not kindle":           {{What: book.Bred, Nest: "oak", At: at(-31, 0)}, {What: book.DidNotKindle, At: at(4, 0)}},
	} {
		s := newStory(t, 20)
		s.entries = entries
		b, _, _, err := book.New(book.Rules{Location: time.UTC, Nests: nests}, nil).With(at(30, 0), s.numbered()...)
		if err != nil {
			t.Fatal(err)
		}
		s.Record = b.Record(1)
		if _, err := review.Of(s.Input); !errors.Is(err, review.ErrNoKits) || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
