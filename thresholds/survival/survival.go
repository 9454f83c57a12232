package survival

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"nestmon/thresholds/book"
	"nestmon/thresholds/litter"
)

// Key is what litters are grouped by.
type Key string

// The keys.
const (
	Nest    Key = "nest"
	Kind    Key = "kind"
	Season  Key = "season"
	Bedding Key = "bedding"
	Doe     Key = "doe"
	Buck    Key = "buck"
)

// Keys lists them.
var Keys = []Key{Nest, Kind, Season, Bedding, Doe, Buck}

// Ask is a question to the book.
type Ask struct {
	By           Key       // empty for all litters together
	Since, Until time.Time // of the kindling; zero where there is no bound
	Now          time.Time
}

// Report is what was learned across litters.
type Report struct {
	By         Key        `json:"by,omitempty"`
	Since      *time.Time `json:"since"`
	Until      *time.Time `json:"until"`
	Confidence float64    `json:"confidence"`  // of every interval
	WeanedFrom int        `json:"weaned_from"` // days: litters of this age and older count for weaning
	All        Group      `json:"all"`
	Groups     []Group    `json:"groups"` // by name, what nobody wrote down last
	Words      []string   `json:"words"`
}

// Group is litters that have something in common.
type Group struct {
	Name      string   `json:"name"` // empty where nobody wrote it down
	Litters   int      `json:"litters"`
	Kits      int      `json:"kits"`           // born alive, of the litters in which they were counted
	Few       bool     `json:"few"`            // too few litters to tell
	Days      []Figure `json:"days"`           // to day 3, 10 and 21, and to weaning
	Size      *Size    `json:"size"`           // kits born alive a litter, nil where none was counted
	Stillborn Share    `json:"stillborn"`      // of all born, where the dead were counted too
	Failed    Share    `json:"did_not_kindle"` // of breedings whose end is known; nothing where the key is known only at kindling
	Losses    []Loss   `json:"losses"`         // the most first

	litters []life
	bred    int // breedings whose end is known
	failed  int
}

// Figure is survival to one day.
type Figure struct {
	Day int `json:"day"` // 0 for weaning
	Share
	Litters     int  `json:"litters"`       // that count
	Few         bool `json:"few"`           // too few to tell
	Missing     int  `json:"missing"`       // kits: counted as dead, though nobody wrote what became of them
	Later       int  `json:"missing_later"` // kits: counted as alive, and missing at a later count
	Uncounted   int  `json:"uncounted"`     // litters left out, and why
	NoKits      int  `json:"no_kits"`
	Young       int  `json:"too_young"`
	Closed      int  `json:"closed_before"`
	OpenForLong int  `json:"open_for_long"`

	each []kits
}

// Size is how many kits litters have.
type Size struct {
	Litters int     `json:"litters"`
	Mean    float64 `json:"mean"`
	SD      float64 `json:"sd"` // between litters; 0 where there is one
	Least   int     `json:"least"`
	Most    int     `json:"most"`
}

// Loss is kits lost for one cause at one age.
type Loss struct {
	Cause book.Cause `json:"cause"` // Missing where nobody wrote it
	Day   int        `json:"day"`
	Kits  int        `json:"kits"`
}

// Missing is the cause of a loss that was noticed at a count.
const Missing book.Cause = "missing"

// Measure answers a question.
func Measure(b *book.Book, ask Ask) Report {
	r := Report{By: ask.By, Confidence: confidence, WeanedFrom: weanedFrom(b), Groups: []Group{}}
	for _, bound := range []struct {
		t  time.Time
		to **time.Time
	}{{ask.Since, &r.Since}, {ask.Until, &r.Until}} {
		if !bound.t.IsZero() {
			*bound.to = &bound.t
		}
	}
	groups := map[string]*Group{}
	of := func(name string) *Group {
		key := strings.ToLower(name)
		if groups[key] == nil {
			groups[key] = &Group{Name: name}
		}
		return groups[key]
	}
	born := birthplaces(b)
	for _, rec := range b.Records() {
		l := life{rec, ask.Now, b.Rules().Location, b.Rules().Days.Wean}
		if ask.asks(rec) {
			r.All.add(l)
			if ask.By != "" && (!rec.Failed || ask.By.early()) {
				of(ask.By.of(rec, born)).add(l)
			}
		}
	}
	r.All.finish(r.WeanedFrom)
	for _, g := range groups {
		g.finish(r.WeanedFrom)
		if !ask.By.early() {
			g.Failed = Share{}
		}
		r.Groups = append(r.Groups, *g)
	}
	slices.SortFunc(r.Groups, func(a, c Group) int {
		return cmp.Or(compareBool(a.Name == "", c.Name == ""), cmp.Compare(strings.ToLower(a.Name), strings.ToLower(c.Name)))
	})
	r.Words = r.words()
	return r
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}

// asks reports whether a litter is asked for: one that neither kindled nor failed has nothing to tell yet.
func (a Ask) asks(r *book.Record) bool {
	at := r.Kindled
	if r.Failed {
		at = r.Bred
	}
	return !at.IsZero() && !at.Before(a.Since) && (a.Until.IsZero() || at.Before(a.Until))
}

// of is a litter's value of a key.
func (k Key) of(r *book.Record, born map[int64]book.Bed) string {
	bed := born[r.ID]
	switch k {
	case Nest:
		return nestOf(r)
	case Kind:
		return string(bed.Kind)
	case Season:
		return string(r.Season)
	case Bedding:
		return bed.Bedding
	case Doe:
		return r.Doe
	}
	return r.Buck
}

// early reports whether a key is known before she kindles, so that breedings which failed have it too.
func (k Key) early() bool { return k == Nest || k == Doe || k == Buck }

// nestOf is where a litter was born; where the doe was to kindle, if she did not.
func nestOf(r *book.Record) string {
	for _, e := range r.Entries {
		if e.What == book.Kindled {
			return e.Nest
		}
	}
	return r.Nest()
}

// birthplaces finds in what each litter was born.
func birthplaces(b *book.Book) map[int64]book.Bed {
	nests, out := map[string]bool{}, map[int64]book.Bed{}
	for _, r := range b.Records() {
		if nest := nestOf(r); !r.Kindled.IsZero() && !nests[nest] {
			nests[nest] = true
			for _, bed := range b.Beds(nest) {
				if _, known := out[bed.Litter]; !known && bed.Litter != 0 && nestOf(b.Record(bed.Litter)) == nest {
					out[bed.Litter] = bed
				}
			}
		}
	}
	return out
}

// weanedFrom is the age in days from which litters count for weaning.
func weanedFrom(b *book.Book) int {
	latest, wean := 0, b.Rules().Days.Wean
	for _, r := range b.Records() {
		if !r.Weaned.IsZero() {
			latest = max(latest, litter.Day(r.Kindled, r.Weaned, b.Rules().Location))
		}
	}
	if latest == 0 {
		latest = wean.To
	}
	return min(max(latest, wean.From), wean.To)
}

func (g *Group) add(l life) {
	if !l.Bred.IsZero() {
		g.bred++
		if l.Failed {
			g.failed++
		}
	}
	if !l.Kindled.IsZero() {
		g.litters = append(g.litters, l)
	}
}

func (g *Group) finish(weaned int) {
	g.Litters, g.Few = len(g.litters), len(g.litters) < enough
	g.Failed = wilson(g.failed, g.bred)
	for _, day := range days {
		f := Figure{Day: day}
		for _, l := range g.litters {
			f.add(l.at(day, weaned))
		}
		f.Share = share(f.N, f.Of)
		if low, high, ok := clustered(f.each, confidence); ok {
			f.Share = f.within(low, high)
		}
		f.Few = f.Litters < enough
		g.Days = append(g.Days, f)
	}
	g.sizes()
	g.losses()
}

func (f *Figure) add(of fate, left why) {
	switch left {
	case counts:
		f.Litters, f.N, f.Of = f.Litters+1, f.N+of.lived, f.Of+of.of
		f.Missing, f.Later = f.Missing+of.missing, f.Later+of.later
		f.each = append(f.each, of.kits)
	case uncounted:
		f.Uncounted++
	case noKits:
		f.NoKits++
	case young:
		f.Young++
	case closed:
		f.Closed++
	case openForLong:
		f.OpenForLong++
	}
}

// sizes measures how many kits were born.
func (g *Group) sizes() {
	var s Size
	squares, dead, both := 0.0, []kits{}, kits{}
	for _, l := range g.litters {
		if l.Born == nil {
			continue
		}
		n := *l.Born
		if s.Litters == 0 {
			s.Least = n
		}
		s.Litters, s.Least, s.Most = s.Litters+1, min(s.Least, n), max(s.Most, n)
		off := float64(n) - s.Mean
		s.Mean += off / float64(s.Litters)
		squares += off * (float64(n) - s.Mean)
		g.Kits += n
		if l.Dead != nil {
			dead = append(dead, kits{*l.Dead, *l.Dead + n})
			both = kits{both.lived + *l.Dead, both.of + *l.Dead + n}
		}
	}
	g.Stillborn = share(both.lived, both.of)
	if low, high, ok := clustered(dead, confidence); ok {
		g.Stillborn = g.Stillborn.within(low, high)
	}
	if s.Litters == 0 {
		return
	}
	if s.Litters > 1 {
		s.SD = math.Sqrt(squares / float64(s.Litters-1))
	}
	g.Size = &s
}

// losses counts lost kits by cause and age.
func (g *Group) losses() {
	type at struct {
		cause book.Cause
		day   int
	}
	lost := map[at]int{}
	for _, l := range g.litters {
		before := 0
		for i, e := range l.Entries {
			if e.What == book.Lost {
				lost[at{e.Cause, l.age(e.At)}] += *e.Kits
			}
			if l.Born == nil {
				continue
			}
			if missing := tally(l.Entries[:i+1]).missing; missing > before {
				lost[at{Missing, l.age(e.At)}] += missing - before
				before = missing
			}
		}
	}
	g.Losses = []Loss{}
	for k, n := range lost {
		g.Losses = append(g.Losses, Loss{k.cause, k.day, n})
	}
	slices.SortFunc(g.Losses, func(a, b Loss) int { return cmp.Or(b.Kits-a.Kits, a.Day-b.Day, cmp.Compare(a.Cause, b.Cause)) })
}
