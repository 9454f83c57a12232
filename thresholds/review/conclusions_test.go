package review

import (
	"regexp"
	"slices"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

// claims are words by which a sentence would say why something happened, that all is well, or what to do about a sick animal.
var claims = regexp.MustCompile(`(?i)\b(because|caused?( by)?|due to|led to|leads to|therefore|thus|hence|died of|killed|so they|as a result|all clear|no danger|healthy|treat|medicine|drug|dose|antibiotic)\b`)

// allowed are the two places where such a word is the book's own.
var allowed = []string{"Losses are in the book whose cause nobody saw: where sickness is suspected, ask a veterinarian.", "entered as of another cause"}

// Every rule has a litter of which it speaks and one of which it does not, and no sentence claims a cause.
func TestEachConclusion(t *testing.T) {
	spoke, silent := make([]bool, len(rules)), make([]bool, len(rules))
	for _, r := range kinds() {
		for i, c := range rules {
			if !c.when(r) {
				silent[i] = true
				continue
			}
			spoke[i] = true
			text := c.say(r)
			if len(text) < 20 || text[len(text)-1] != '.' {
				t.Errorf("rule %d says %q", i, text)
			}
			stripped := text
			for _, a := range allowed {
				stripped = regexp.MustCompile(regexp.QuoteMeta(a)).ReplaceAllString(stripped, "")
			}
			if bad := claims.FindString(stripped); bad != "" {
				t.Errorf("rule %d claims %q: %s", i, bad, text)
			}
		}
	}
	for i := range rules {
		if !spoke[i] || !silent[i] {
			t.Errorf("rule %d (%s): spoke %v, was silent %v", i, rules[i].about, spoke[i], silent[i])
		}
	}
	if !slices.IsSortedFunc(rules, func(a, b rule) int { return place(a.about) - place(b.about) }) {
		t.Error("the rules do not follow the order of what they are about")
	}
}

func place(about string) int {
	return slices.Index([]string{aboutKits, aboutWarmth, aboutDoe, aboutCare, aboutGrowth, aboutUnknown}, about)
}

// kinds are reviews of many kinds of litters, each with one thing changed.
func kinds() (all []*Review) {
	day := time.Date(2031, time.March, 2, 0, 0, 0, 0, time.UTC)
	for _, change := range []func(*Review){
		func(*Review) {},
		func(r *Review) { r.Record.Born, r.Survival[0].Why = nil, uncounted },
		func(r *Review) { r.Record.Dead = new(int); *r.Record.Dead = 2 },
		func(r *Review) { r.Open, r.WeanedAt, r.Survival[0].Why = true, -1, "not weaned yet" },
		func(r *Review) { r.Left, r.Survival[0].Alive, r.Losses, r.Lost = 0, 0, losses(8), 8 },
		func(r *Review) { r.Left, r.Survival[0].Alive, r.Losses, r.Lost = 5, 5, losses(3), 3 },
		func(r *Review) { r.Pile.Cold, r.Pile.ColdCritical = 20, 3 },
		func(r *Review) {
			r.Pile.Cold, r.Alarms = 300, []Alarm{{Name: alarm.ClusterChill, Times: 2, Answered: 1, Lasted: 5 * time.Hour}}
		},
		func(r *Review) { r.Pile.Hot, r.Nest.HotInPart, r.Nest.Cold = 2, 4, 8 },
		func(r *Review) { r.Alarms = []Alarm{{Name: alarm.NestHeat, Times: 1, Answered: 1}} },
		func(r *Review) {
			r.Visits = Visits{Seen: 9, Expected: true, Intervals: 8, Median: 24 * time.Hour, Longest: 27 * time.Hour}
		},
		func(r *Review) {
			r.Visits = Visits{Seen: 9, Expected: true, Intervals: 8, Median: 24 * time.Hour, Longest: 50 * time.Hour, From: day}
		},
		func(r *Review) { r.Visits = Visits{Expected: true, Longest: 400 * time.Hour} },
		func(r *Review) { r.Bedding = []Change{{Age: 14}} },
		func(r *Review) { r.Weights = []Weight{{Age: 5, Each: 90, Published: &growth[1], Low: 88, High: 93}} },
	} {
		kits := 8
		r := &Review{
			Record: &book.Record{ID: 1, Kindled: day, Born: &kits}, location: time.UTC, Age: 35, WeanedAt: 35, Until: day.AddDate(0, 0, 35),
			Of: 8, Left: 8, Survival: []Survival{{Alive: 8, Of: 8}}, Answers: true, Hours: []Seen{{}}, Outside: []Sample{{}}, Weights: []Weight{{Age: 3}},
			Spans:  []Span{{Nest: "oak", From: day, Until: day.AddDate(0, 0, 35), Probes: Probes{true, true}}},
			Limits: []Limits{{From: 0, To: 28, Pile: true, Cold: 34, Hot: 39, AirCold: 15, AirHot: 30}},
			Pile:   Judged{Probe: true, Expected: 500, Judged: 500, Low: Sample{At: day}, High: Sample{At: day}}, Nest: Judged{Probe: true, Expected: 500, Judged: 500, Low: Sample{At: day}, High: Sample{At: day}},
		}
		change(r)
		all = append(all, r)
		blind := *r
		blind.Pile.Judged, blind.Nest.Judged, blind.Weights = 200, 200, nil
		all = append(all, &blind)
	}
	return all
}

func losses(n int) []Loss {
	return []Loss{
		{Age: 1, Kits: 1, Causes: []Cause{{book.Chilled, 1}}},
		{Age: 2, Kits: n - 2, Causes: []Cause{{book.Other, n - 2}}, Pile: Value{N: 9}, Judged: 36, Cold: 4, Hot: 1, Missing: 2, Outside: Value{N: 9}},
		{Age: 3, Kits: 1, Causes: []Cause{{"", 1}}, Pile: Value{N: 9}},
	}
}

// A probe that dipped under the limit did not keep within it.
func TestDipsAreTold(t *testing.T) {
	r := kinds()[0]
	r.Pile.ColdInPart = 3
	for _, c := range rules {
		if c.about == aboutWarmth && c.when(r) && !regexp.MustCompile("3 h of them it dipped").MatchString(c.say(r)) {
			t.Error(c.say(r))
		}
	}
}
