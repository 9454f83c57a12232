package quality

import (
	"cmp"
	"slices"
	"time"

	"nestmon/thresholds/alarm"
)

// Input is what happened in a span of time.
type Input struct {
	From, To  time.Time // up to To, without it
	Location  *time.Location
	Nests     []string
	Events    []alarm.Event // in order; those before From say what stood then, and do not count
	Acts      []alarm.Act   // in order
	ActsSince time.Time     // from when on acts are known, zero where they never are
	Woken     []time.Time   // when a person was called; nil where that is to be worked out from what became urgent
	Blind     []Blind
}

// Blind is a time in which no probe of a nest had a temperature. Those of one nest do not overlap.
type Blind struct {
	Nest     string
	From, To time.Time
}

// Report is how good the alarms were.
type Report struct {
	From      time.Time `json:"from"`
	To        time.Time `json:"to"`
	Nests     int       `json:"nests"`
	NestWeeks float64   `json:"nest_weeks"` // in which the nests were watched
	Few       bool      `json:"few"`        // too few to say much
	ActsKnown bool      `json:"acts_known"` // false where nobody noted who had seen what
	PerDay    float64   `json:"alarms_per_day"`
	WorstDay  int       `json:"alarms_on_worst_day"`
	Woken     int       `json:"woken"` // calls between 22:00 and 06:00
	Calls     []Call    `json:"calls"`
	ByHour    [24]int   `json:"calls_by_hour"` // local
	Floods    []Flood   `json:"floods"`
	Total     Row       `json:"total"`
	ByNest    []Row     `json:"by_nest"`
	Rows      []Row     `json:"by_nest_and_event"` // the most alarms first
	NotJudged []Day     `json:"not_judged"`
	Figures   []Figure  `json:"figures"`
	Advice    []string  `json:"advice"`
}

// Row is the counts of one alarm of one nest, of a nest, or of all.
type Row struct {
	Nest       string     `json:"nest"`  // empty for the site's own
	Event      alarm.Name `json:"event"` // empty for all
	Raised     Raised     `json:"raised"`
	Alarms     int        `json:"alarms"`
	Notices    int        `json:"notices"`
	Chores     int        `json:"chores"`
	Chattering int        `json:"chattering"`
	Again      int        `json:"again"`
	Fleeting   int        `json:"fleeting"`
	Stale      int        `json:"stale"`
	Unseen     int        `json:"never_acknowledged"`
	Waited     *float64   `json:"median_to_acknowledge_s"` // of urgent ones, nil where there was none
	Rate       *Rate      `json:"alarms_per_nest_week"`    // nil where the nest was watched for less than a day

	waits []time.Duration
	last  alarm.Event
}

// Raised counts what was told, by severity and without chores; what grows worse is told again.
type Raised struct {
	Notice  int `json:"notice"`
	Warning int `json:"warning"`
	Urgent  int `json:"urgent"`
}

func (r Raised) sum() int { return r.Notice + r.Warning + r.Urgent }

// Day is a date on which some nests had no reading for over three hours.
type Day struct {
	Date  time.Time `json:"date"` // its local midnight
	Nests []string  `json:"nests"`
}

func (in *Input) inside(t time.Time) bool { return !t.Before(in.From) && t.Before(in.To) }

func (in *Input) location() *time.Location {
	if in.Location == nil {
		return time.UTC
	}
	return in.Location
}

// Measure works out the report.
func Measure(in Input) Report {
	in.Events = slices.DeleteFunc(slices.Clone(in.Events), func(e alarm.Event) bool { return !e.Time.Before(in.To) })
	in.Acts = slices.DeleteFunc(slices.Clone(in.Acts), func(a alarm.Act) bool { return !a.At.Before(in.To) })
	r := Report{From: in.From, To: in.To, Nests: len(in.Nests), ActsKnown: !in.ActsSince.IsZero() && in.ActsSince.Before(in.To)}
	weeks := in.watched()
	t := newTable(in.Nests)
	for _, e := range in.Events {
		if e.State == alarm.Raised && in.inside(e.Time) && !e.Name.Chore() {
			t.add(place{e.Nest, e.Name}, func(row *Row) { row.Raised.count(e.Severity) })
		}
	}
	began, each := []time.Time{}, map[place][]time.Time{}
	all := spells(in.Events, in.Acts)
	slices.SortStableFunc(all, func(a, b *spell) int { return a.began.Compare(b.began) })
	for _, s := range all {
		t.add(s.place, func(row *Row) { in.count(row, s) })
		if s.alarm() && in.counts(s) {
			began, each[s.place] = append(began, s.began), append(each[s.place], s.began)
		}
	}
	for at, times := range each {
		n := chatter(times)
		t.add(at, func(row *Row) { row.Chattering += n })
	}
	r.Total, r.ByNest, r.Rows = t.finish(weeks)
	for _, nest := range in.Nests {
		r.NestWeeks += weeks[nest]
	}
	r.Total.Rate = rate(r.Total.Alarms, r.NestWeeks)
	r.Few = r.NestWeeks < fewNestWeeks
	if days := in.To.Sub(in.From).Hours() / 24; days > 0 {
		r.PerDay = float64(len(began)) / days
	}
	r.WorstDay = worstDay(began, in.location())
	r.Floods = floods(began)
	r.Calls = in.calls()
	for _, c := range r.Calls {
		r.ByHour[c.At.In(in.location()).Hour()]++
		if c.Night {
			r.Woken++
		}
	}
	r.NotJudged = in.notJudged()
	r.Figures = r.figures()
	r.Advice = r.advice()
	return r
}

// counts reports whether a spell began within the span.
func (in *Input) counts(s *spell) bool { return !s.cut && in.inside(s.began) }

// count adds what one spell is to a row.
func (in *Input) count(row *Row, s *spell) {
	if !s.over.IsZero() && s.over.Before(in.From) {
		return
	}
	row.last = s.last
	stands := s.lasted(in.To) > staleAfter
	if s.alarm() && stands {
		row.Stale++ // also one that began before
	}
	if !in.counts(s) {
		return
	}
	switch {
	case s.name.Chore():
		row.Chores++
	case !s.alarm():
		row.Notices++
	default:
		row.Alarms++
		row.Again += one(s.again())
		row.Fleeting += one(!s.over.IsZero() && s.lasted(in.To) <= fleetingUpTo && (s.seen.IsZero() || s.seen.After(s.over)))
		known := !in.ActsSince.IsZero() && !s.began.Before(in.ActsSince)
		row.Unseen += one(known && s.seen.IsZero() && (!s.over.IsZero() || stands))
		if s.waited > 0 {
			row.waits = append(row.waits, s.waited)
		}
	}
}

func one(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

func (r *Raised) count(s alarm.Severity) {
	switch s {
	case alarm.Notice:
		r.Notice++
	case alarm.Warning:
		r.Warning++
	case alarm.Urgent:
		r.Urgent++
	}
}

// table holds the rows while they are filled.
type table struct {
	total Row
	nests map[string]*Row
	rows  map[place]*Row
}

func newTable(nests []string) *table {
	t := &table{nests: map[string]*Row{}, rows: map[place]*Row{}}
	for _, nest := range nests {
		t.nests[nest] = &Row{Nest: nest}
	}
	return t
}

func (t *table) add(at place, count func(*Row)) {
	if t.nests[at.nest] == nil {
		t.nests[at.nest] = &Row{Nest: at.nest}
	}
	if t.rows[at] == nil {
		t.rows[at] = &Row{Nest: at.nest, Event: at.name}
	}
	for _, row := range []*Row{&t.total, t.nests[at.nest], t.rows[at]} {
		count(row)
	}
}

// finish sorts the rows and drops those in which nothing happened but for the nests'.
func (t *table) finish(weeks map[string]float64) (total Row, nests, rows []Row) {
	for _, row := range t.nests {
		row.finish(weeks[row.Nest])
		nests = append(nests, *row)
	}
	for _, row := range t.rows {
		if row.Alarms+row.Notices+row.Chores+row.Stale+row.Raised.sum() == 0 {
			continue
		}
		row.finish(weeks[row.Nest])
		rows = append(rows, *row)
	}
	t.total.finish(0)
	slices.SortFunc(nests, func(a, b Row) int { return cmp.Compare(a.Nest, b.Nest) })
	slices.SortFunc(rows, func(a, b Row) int {
		return cmp.Or(b.Alarms-a.Alarms, b.Raised.sum()-a.Raised.sum(), b.Chores-a.Chores,
			slices.Index(alarm.Names, a.Event)-slices.Index(alarm.Names, b.Event), cmp.Compare(a.Nest, b.Nest))
	})
	return t.total, nests, rows
}

func (r *Row) finish(weeks float64) {
	r.Rate = rate(r.Alarms, weeks)
	if n := len(r.waits); n > 0 {
		slices.Sort(r.waits)
		middle := (r.waits[(n-1)/2] + r.waits[n/2]).Seconds() / 2
		r.Waited = &middle
	}
}

// Frequent lists the alarms that came most often, ten at most.
func (r *Report) Frequent() []Row {
	rows := r.Rows
	if i := slices.IndexFunc(rows, func(row Row) bool { return row.Alarms == 0 }); i >= 0 {
		rows = rows[:i]
	}
	return rows[:min(len(rows), most)]
}
