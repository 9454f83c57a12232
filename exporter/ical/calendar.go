package ical

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

// The days that the file covers, ours, no source: a season's litters ahead, and a month back.
const (
	DaysBack  = 30
	DaysAhead = 90

	longestSpan = 7 // days: a window that is longer lies on its first day alone, for a bar over weeks hides the rest
	dailyAhead  = 7 // days after today: as long as a phone may be without us
)

// Calendar is what one file is about.
type Calendar struct {
	Site  string // its id; part of every UID, so that two sheds on one phone stay apart
	Name  string // as the phone shows it
	Zone  *time.Location
	Daily bool // with what comes every day
}

// event is one VEVENT before it has a UID.
type event struct {
	key              key
	done             int64       // unix seconds, 0 while it is not
	first, end       litter.Date // end is the day after its last
	summary, details string
	categories       []string
}

// key is what events of the same chore share.
type key struct {
	Nest   string     `json:"nest,omitempty"`
	Litter int64      `json:"litter,omitempty"`
	Chore  alarm.Name `json:"chore"`
	Day    string     `json:"day,omitempty"` // of what comes every day
}

func (k key) anyLitter() key {
	k.Litter = 0
	return k
}

// events makes them of tasks, in an order that depends on nothing else.
func (c Calendar) events(now time.Time, tasks []thresholds.Task) []event {
	today := litter.DateOf(now, c.Zone)
	all := c.daily(now, tasks)
	for _, t := range tasks {
		// What comes every day comes again; that it was done this morning is nothing to show for a week.
		if _, often := everyDay[t.Chore]; !t.Daily && (t.Done.IsZero() || !often) {
			all = append(all, c.one(now, t))
		}
	}
	all = slices.DeleteFunc(all, func(e event) bool {
		return before(today.Add(DaysAhead), e.first) || before(e.end, today.Add(-DaysBack+1))
	})
	slices.SortStableFunc(all, func(a, b event) int {
		return cmp.Or(cmp.Compare(a.first.String(), b.first.String()), cmp.Compare(a.summary, b.summary), cmp.Compare(a.key.Litter, b.key.Litter), cmp.Compare(a.done, b.done))
	})
	return all
}

func before(a, b litter.Date) bool { return a.String() < b.String() }

// one is the event of a task.
func (c Calendar) one(now time.Time, t thresholds.Task) event {
	what, state := t.Chore.Plain(), t.State(now, c.Zone)
	e := event{key: key{Nest: t.Nest, Litter: t.Litter, Chore: t.Chore}, categories: []string{string(t.Chore), string(state)}}
	today := litter.DateOf(now, c.Zone)
	e.first, e.end = c.span(t)
	switch {
	case state == thresholds.Done:
		e.done = t.Done.Unix()
		e.first = litter.DateOf(t.Done, c.Zone)
		e.end = e.first.Add(1)
		what = "done: " + place(t.Nest) + what
	case !before(today, e.end):
		since := fmt.Sprintf(" (since %s)", short(e.first, today))
		if state == thresholds.Overdue && !strings.Contains(what, "overdue") {
			since = fmt.Sprintf(" (overdue since %s)", short(litter.DateOf(t.Late, c.Zone), today))
		}
		e.first, e.end = today, today.Add(1)
		what = place(t.Nest) + what + since
	case state == thresholds.Coming:
		what = place(t.Nest) + cmp.Or(ahead[t.Chore], what)
	default:
		what = place(t.Nest) + what
	}
	e.summary, e.details = what, details(t)
	return e
}

// ahead says what comes where Plain says that it has come.
var ahead = map[alarm.Name]string{alarm.KindlingOverdue: "kindling overdue unless entered"}

// span is from when to when a task lies on its own days.
func (c Calendar) span(t thresholds.Task) (first, end litter.Date) {
	first = litter.DateOf(t.From, c.Zone)
	end = first.Add(1)
	if t.Late.IsZero() {
		return first, end
	}
	late := litter.DateOf(t.Late, c.Zone)
	if !c.begins(t.Late) {
		late = late.Add(1)
	}
	if before(end, late) && !before(first.Add(longestSpan), late) {
		end = late
	}
	return first, end
}

// begins reports whether a date begins at t: at midnight, or where the clocks are changed then, at what takes its place.
func (c Calendar) begins(t time.Time) bool {
	h, m, s := t.In(c.Zone).Clock()
	return h+m+s == 0 || litter.Day(t.Add(-time.Second), t, c.Zone) > 0
}

// everyDay is what may come every day, where the agenda says so. Plain says what an alarm says; for all nests together it is other words.
var everyDay = map[alarm.Name]string{
	alarm.InspectDue: "look into the nests", alarm.WaterDue: "unfrozen water", alarm.FlyStrikeDue: "look for fly strike",
}

// daily makes one event a day of each chore that comes every day.
func (c Calendar) daily(now time.Time, tasks []thresholds.Task) (all []event) {
	if !c.Daily {
		return nil
	}
	for n := range dailyAhead + 1 {
		day := litter.DateOf(now, c.Zone).Add(n)
		on := map[alarm.Name][]thresholds.Task{}
		for _, t := range tasks {
			if t.Daily && t.Done.IsZero() && !before(day, litter.DateOf(t.From, c.Zone)) && (t.Until.IsZero() || day.Noon(c.Zone).Before(t.Until)) {
				on[t.Chore] = append(on[t.Chore], t)
			}
		}
		for chore, tasks := range on {
			all = append(all, together(day, chore, tasks))
		}
	}
	return all
}

// together is the event of one chore for all of its nests on one day.
func together(day litter.Date, chore alarm.Name, tasks []thresholds.Task) event {
	e := event{key: key{Chore: chore, Day: day.String()}, first: day, end: day.Add(1), categories: []string{string(chore), "daily"}}
	slices.SortStableFunc(tasks, func(a, b thresholds.Task) int { return cmp.Compare(a.Nest, b.Nest) })
	var nests []string
	for _, t := range tasks {
		if t.Nest != "" && !slices.Contains(nests, t.Nest) {
			nests = append(nests, t.Nest)
		}
	}
	e.summary = cmp.Or(everyDay[chore], chore.Plain())
	if len(nests) > 0 {
		e.summary += ": " + strings.Join(nests, ", ")
	}
	// Most nests are told the same: it is said once.
	var texts []string
	for _, t := range tasks {
		t.Nest = ""
		if text := details(t); !slices.Contains(texts, text) {
			texts = append(texts, text)
		}
	}
	e.details = strings.Join(texts, "\n\n")
	return e
}

// details says what to do, by which rule and whose, and how to mark it.
func details(t thresholds.Task) string {
	text := t.Text
	if t.Rule != "" {
		text += "\n\nRule: " + t.Rule + "."
	}
	if t.Source != "" {
		text += "\nSource: " + t.Source + "."
	}
	const done = "\n\nDone? Say so on the page at home, under To do; on the board: nestmon chores done"
	switch {
	case !t.Done.IsZero(), t.Daily:
		return text
	case t.Nest == "":
		return text + done + " --event " + string(t.Chore)
	}
	return text + done + " --nest " + t.Nest + " --event " + string(t.Chore)
}

func place(nest string) string {
	if nest == "" {
		return ""
	}
	return nest + ": "
}

// short writes a date as it is read on both sides of the sea, with the year where it is not this one.
func short(d, today litter.Date) string {
	if d.Year == today.Year {
		return d.Noon(time.UTC).Format("2 Jan")
	}
	return d.Noon(time.UTC).Format("2 Jan 2006")
}
