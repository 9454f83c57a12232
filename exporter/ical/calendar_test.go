package ical_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	ics "github.com/arran4/golang-ical"

	"nestmon/exporter/ical"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// shown is one event as it stands in a file.
type shown struct {
	uid, from, until, summary, details, sequence, stamp string
	kinds                                               []string
}

func read(t *testing.T, text []byte) map[string]shown {
	t.Helper()
	cal, err := ics.ParseCalendar(strings.NewReader(string(text)))
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]shown{}
	for _, e := range cal.Events() {
		value := func(p ics.ComponentProperty) string {
			if v := e.GetProperty(p); v != nil {
				return v.Value
			}
			return ""
		}
		s := shown{
			uid: e.Id(), from: value(ics.ComponentPropertyDtStart), until: value(ics.ComponentPropertyDtEnd), summary: value(ics.ComponentPropertySummary),
			details: value(ics.ComponentPropertyDescription), sequence: value(ics.ComponentPropertySequence), stamp: value(ics.ComponentPropertyDtstamp),
		}
		for _, c := range e.GetProperties(ics.ComponentPropertyCategories) {
			s.kinds = append(s.kinds, c.Value)
		}
		if value(ics.ComponentPropertyLastModified) != s.stamp || value(ics.ComponentPropertyTransp) != "TRANSPARENT" || value(ics.ComponentPropertyStatus) != "CONFIRMED" || len(e.Alarms()) > 0 {
			t.Errorf("%s: stamp, transparency, status or alarms", s.summary)
		}
		if _, twice := all[s.uid]; twice {
			t.Errorf("two events have the UID of %s", s.summary)
		}
		all[s.uid] = s
	}
	return all
}

// barn is a calendar whose past goes through JSON after each writing, as over a restart.
type barn struct {
	t *testing.T
	ical.Calendar
	past string
}

func newBarn(t *testing.T) *barn {
	return &barn{t: t, Calendar: ical.Calendar{Site: "barn", Name: "Barn: chores", Zone: time.UTC, Daily: true}}
}

func (b *barn) write(now time.Time, tasks ...thresholds.Task) (text []byte, moved bool) {
	b.t.Helper()
	var past ical.Past
	if b.past != "" {
		if err := json.Unmarshal([]byte(b.past), &past); err != nil {
			b.t.Fatal(err)
		}
	}
	text, moved, err := b.Write(now, tasks, &past)
	if err != nil {
		b.t.Fatal(err)
	}
	kept, err := json.Marshal(past)
	if err != nil {
		b.t.Fatal(err)
	}
	b.past = string(kept)
	return text, moved
}

// only is the one event of a file.
func (b *barn) only(now time.Time, tasks ...thresholds.Task) shown {
	b.t.Helper()
	text, _ := b.write(now, tasks...)
	all := read(b.t, text)
	if len(all) != 1 {
		b.t.Fatalf("%d events in %s", len(all), text)
	}
	return all[slices.Collect(maps.Keys(all))[0]]
}

func on(day, hour int) time.Time { return time.Date(2031, time.March, day, hour, 0, 0, 0, time.UTC) }

// boxDue is due on the 27th and late from the 29th.
func boxDue() thresholds.Task {
	return thresholds.Task{
		Nest: "oak", Litter: 7, Chore: alarm.BoxDue, From: on(27, 0), Late: on(29, 0), Until: on(36, 0),
		Text: "Put the box in.", Rule: "day 27 after breeding", Source: "common practice, no source",
	}
}

// A chore from afar until it is done keeps its UID, and every change of its days raises SEQUENCE.
func TestAChoresCourse(t *testing.T) {
	b, task := newBarn(t), boxDue()
	moved := task
	moved.From, moved.Late = on(26, 0), on(28, 0)
	done := moved
	done.Done = on(31, 17)
	var before shown
	for _, step := range []struct {
		now                  time.Time
		task                 thresholds.Task
		from, until, summary string
		change               bool
	}{
		{on(1, 8), task, "20310327", "20310329", "oak: nest box due", true},
		{on(1, 20), task, "20310327", "20310329", "oak: nest box due", false},
		{on(2, 0), moved, "20310326", "20310328", "oak: nest box due", true},
		{on(26, 9), moved, "20310326", "20310328", "oak: nest box due", true}, // it is due: the category says so
		{on(27, 9), moved, "20310326", "20310328", "oak: nest box due", false},
		{on(28, 0), moved, "20310328", "20310329", "oak: nest box due (overdue since 28 Mar)", true},
		{on(28, 23), moved, "20310328", "20310329", "oak: nest box due (overdue since 28 Mar)", false},
		{on(29, 0), moved, "20310329", "20310330", "oak: nest box due (overdue since 28 Mar)", true},
		{on(31, 12), moved, "20310331", "20310401", "oak: nest box due (overdue since 28 Mar)", true},
		{on(31, 18), done, "20310331", "20310401", "done: oak: nest box due", true},
		{on(36, 18), done, "20310331", "20310401", "done: oak: nest box due", false},
	} {
		got := b.only(step.now, step.task)
		if got.from != step.from || got.until != step.until || got.summary != step.summary {
			t.Errorf("%v: %s to %s %q, want %s to %s %q", step.now, got.from, got.until, got.summary, step.from, step.until, step.summary)
		}
		if before.uid != "" && got.uid != before.uid {
			t.Errorf("%v: another UID", step.now)
		}
		if (number(got.sequence) > number(before.sequence)) != step.change || (got.stamp > before.stamp) != step.change {
			t.Errorf("%v: SEQUENCE %s after %s, DTSTAMP %s after %s; change %v", step.now, got.sequence, before.sequence, got.stamp, before.stamp, step.change)
		}
		before = got
	}
	if !strings.Contains(before.details, "Put the box in.\n\nRule: day 27 after breeding.\nSource: common practice, no source.") {
		t.Errorf("details %q", before.details)
	}
}

func number(sequence string) int {
	n, _ := strconv.Atoi(sequence)
	return n
}

// What comes again is another event; what was open before is the one that was done. It does not matter how often a phone looked.
func TestAChoreThatComesAgain(t *testing.T) {
	bedding := func(from, done time.Time) thresholds.Task {
		return thresholds.Task{Nest: "oak", Litter: 7, Chore: alarm.BeddingDue, From: from, Done: done, Text: "Change the bedding."}
	}
	b := newBarn(t)
	first := b.only(on(1, 8), bedding(on(4, 0), time.Time{}))
	text, _ := b.write(on(5, 8), bedding(on(4, 0), on(4, 9)), bedding(on(7, 0), time.Time{}))
	all := read(t, text)
	if was := all[first.uid]; was.summary != "done: oak: bedding due" {
		t.Errorf("the first is %q now", was.summary)
	}
	delete(all, first.uid)
	var second shown
	for _, second = range all {
		if second.from != "20310307" {
			t.Errorf("the second: %+v", second)
		}
	}
	// Two were done since, and the litter has ended with the second: its nest has another.
	third := bedding(on(20, 0), time.Time{})
	third.Litter = 8
	last := bedding(on(10, 9), on(10, 9))
	last.Litter = 0
	text, _ = b.write(on(10, 18), bedding(on(4, 0), on(4, 9)), bedding(on(6, 9), on(6, 9)), last, third)
	all = read(t, text)
	if len(all) != 4 || all[first.uid].from != "20310304" || all[second.uid].from != "20310306" {
		t.Errorf("after two more: %+v", all)
	}
	// A mark that was struck: it is open again, and what follows is no more.
	again := b.only(on(11, 8), thresholds.Task{Nest: "oak", Litter: 8, Chore: alarm.BeddingDue, From: on(20, 0), Text: "Change it."})
	if all[again.uid].from != "20310320" {
		t.Errorf("the open one is another: %+v", again)
	}
}

// Where the past is lost, or the clock was put back, SEQUENCE does not fall and no two events share a UID.
func TestPastLostAndClockPutBack(t *testing.T) {
	b, task := newBarn(t), boxDue()
	before := b.only(on(28, 8), task)
	lost := newBarn(t)
	if got := lost.only(on(29, 8), task); number(got.sequence) <= number(before.sequence) {
		t.Errorf("SEQUENCE %s after %s", got.sequence, before.sequence)
	}
	if got := lost.only(on(28, 8), task); number(got.sequence) <= number(before.sequence) || got.stamp <= before.stamp {
		t.Errorf("the clock put back: SEQUENCE %s after %s", got.sequence, before.sequence)
	}
	early := time.Date(1970, time.January, 1, 0, 1, 0, 0, time.UTC)
	if got := newBarn(t).only(early, thresholds.Task{Nest: "oak", Chore: alarm.BoxDue, From: early}); got.sequence != "0" {
		t.Errorf("SEQUENCE %s", got.sequence)
	}
}

func TestDaysOfATask(t *testing.T) {
	for _, row := range []struct {
		name                 string
		task                 thresholds.Task
		from, until, summary string
		gone                 bool
	}{
		{name: "a day", task: thresholds.Task{From: on(12, 0)}, from: "20310312", until: "20310313", summary: "oak: weaning due"},
		{name: "from within a day", task: thresholds.Task{From: on(12, 15)}, from: "20310312", until: "20310313", summary: "oak: weaning due"},
		{name: "late within a day", task: thresholds.Task{From: on(12, 0), Late: on(13, 14)}, from: "20310312", until: "20310314", summary: "oak: weaning due"},
		{name: "late at once", task: thresholds.Task{From: on(12, 0), Late: on(12, 0)}, from: "20310312", until: "20310313", summary: "oak: weaning due"},
		{name: "late after a week", task: thresholds.Task{From: on(12, 0), Late: on(19, 0)}, from: "20310312", until: "20310319", summary: "oak: weaning due"},
		{name: "late after more", task: thresholds.Task{From: on(12, 0), Late: on(20, 0)}, from: "20310312", until: "20310313", summary: "oak: weaning due"},
		{name: "today", task: thresholds.Task{From: on(10, 0)}, from: "20310310", until: "20310311", summary: "oak: weaning due"},
		{name: "not done yesterday", task: thresholds.Task{From: on(9, 0)}, from: "20310310", until: "20310311", summary: "oak: weaning due (since 9 Mar)"},
		{name: "within its days", task: thresholds.Task{From: on(9, 0), Late: on(12, 0)}, from: "20310309", until: "20310312", summary: "oak: weaning due"},
		{name: "overdue", task: thresholds.Task{From: on(1, 0), Late: on(4, 0)}, from: "20310310", until: "20310311", summary: "oak: weaning due (overdue since 4 Mar)"},
		{name: "overdue for a year", task: thresholds.Task{From: on(1, 0).AddDate(-1, 0, 0), Late: on(4, 0).AddDate(-1, 0, 0)}, from: "20310310", until: "20310311", summary: "oak: weaning due (overdue since 4 Mar 2030)"},
		{name: "done early", task: thresholds.Task{From: on(12, 0), Done: on(9, 23)}, from: "20310309", until: "20310310", summary: "done: oak: weaning due"},
		{name: "the last day ahead", task: thresholds.Task{From: on(10+ical.DaysAhead, 0)}, from: "20310608", until: "20310609", summary: "oak: weaning due"},
		{name: "beyond", task: thresholds.Task{From: on(11+ical.DaysAhead, 0)}, gone: true},
		{name: "the last day back", task: thresholds.Task{Done: on(10-ical.DaysBack, 1)}, from: "20310208", until: "20310209", summary: "done: oak: weaning due"},
		{name: "too long ago", task: thresholds.Task{Done: on(9-ical.DaysBack, 23)}, gone: true},
	} {
		t.Run(row.name, func(t *testing.T) {
			b := newBarn(t)
			row.task.Nest, row.task.Chore = "oak", alarm.WeanDue
			text, _ := b.write(on(10, 7), row.task)
			all := read(t, text)
			if row.gone {
				if len(all) != 0 {
					t.Errorf("%v", all)
				}
				return
			}
			if got := b.only(on(10, 7), row.task); got.from != row.from || got.until != row.until || got.summary != row.summary {
				t.Errorf("%s to %s %q, want %s to %s %q", got.from, got.until, got.summary, row.from, row.until, row.summary)
			}
		})
	}
}

// What comes every day is one event a day for all nests, and does not fill the past with what was done.
func TestDailyOnesAreOne(t *testing.T) {
	look := func(nest string, from time.Time) thresholds.Task {
		return thresholds.Task{Nest: nest, Litter: 1, Chore: alarm.InspectDue, From: from, Daily: true, Text: "Look in.", Rule: "twice a day"}
	}
	tasks := []thresholds.Task{
		look("oak", on(10, 5)), look("elm", on(9, 20)), look("ash", on(12, 6)),
		{Nest: "oak", Chore: alarm.InspectDue, From: on(9, 8), Done: on(9, 8)},
		boxDue(),
	}
	until := look("fir", on(10, 5))
	until.Until = on(11, 0)
	b := newBarn(t)
	text, _ := b.write(on(10, 7), append(tasks, until)...)
	days := map[string]string{}
	for _, e := range read(t, text) {
		if slices.Contains(e.kinds, "daily") {
			days[e.from] = e.summary
			if e.details != "Look in.\n\nRule: twice a day." {
				t.Errorf("details %q", e.details)
			}
		}
	}
	want := map[string]string{"20310310": "look into the nests: elm, fir, oak", "20310311": "look into the nests: elm, oak"}
	for day := 12; day <= 17; day++ {
		want[fmt.Sprintf("203103%d", day)] = "look into the nests: ash, elm, oak"
	}
	if !maps.Equal(days, want) {
		t.Errorf("%v, want %v", days, want)
	}
	if n := strings.Count(string(text), "BEGIN:VEVENT"); n != len(want)+1 {
		t.Errorf("%d events", n)
	}
	b.Daily = false
	if got := b.only(on(10, 8), tasks...); got.summary != "oak: nest box due" {
		t.Errorf("without: %q", got.summary)
	}
}

// The same chores are the same bytes, whenever they are asked for within a day, and in whatever order.
func TestSameBytes(t *testing.T) {
	b := newBarn(t)
	var tasks []thresholds.Task
	for i, nest := range []string{"oak", "elm", "ash", "", "oak"} {
		task := boxDue()
		task.Nest, task.Litter, task.Chore = nest, int64(i), []alarm.Name{alarm.BoxDue, alarm.TurnBoxDue}[i%2]
		tasks = append(tasks, task)
	}
	first, moved := b.write(on(10, 0), tasks...)
	if !moved {
		t.Error("new, and nothing to keep")
	}
	slices.Reverse(tasks)
	second, moved := b.write(on(10, 23), tasks...)
	if string(first) != string(second) || moved {
		t.Errorf("moved %v\n%s\n%s", moved, first, second)
	}
	// A word that changes is no reason to write to a card.
	tasks[0].Text = "Put the box in, it is -3 °C."
	if third, moved := b.write(on(10, 23), tasks...); moved || string(third) == string(second) {
		t.Errorf("words: moved %v", moved)
	}
	if _, moved := b.write(on(10, 23), tasks[1:]...); !moved {
		t.Error("one less, and nothing to keep")
	}
}

// Lines end with CRLF, have 75 octets at most and break no character, whatever a nest is called.
func TestLines(t *testing.T) {
	b, task := newBarn(t), boxDue()
	for n := range 80 {
		task.Nest = strings.Repeat("x", n) + strings.Repeat("ü", 40) + "🐇🐇" + strings.Repeat("a,b;c\\n ", 9)
		task.Text = strings.Repeat("é", n) + "\nEND:VEVENT\r\nBEGIN:VALARM\r" + strings.Repeat("漢字", 60) + "\x00\x1b\x7f\xff\xfe"
		text, _ := b.write(on(1, n%24), task)
		lines := strings.Split(string(text), "\r\n")
		for _, line := range lines {
			if len(line) > 75 || !utf8.ValidString(line) || strings.ContainsAny(line, "\r\n\x00\x1b\x7f") {
				t.Fatalf("%d: %q", n, line)
			}
		}
		if last := len(lines) - 1; lines[0] != "BEGIN:VCALENDAR" || lines[last-1] != "END:VCALENDAR" || lines[last] != "" {
			t.Fatalf("%d: begins %q, ends %q", n, lines[0], lines[last-1:])
		}
		if strings.Count(string(text), "\r\nBEGIN:") != 1 {
			t.Fatalf("%d: something was let in:\n%s", n, text)
		}
	}
}
