package past

import (
	"cmp"
	"slices"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

// Kind is what a mark is drawn as.
type Kind string

// The kinds.
const (
	Urgent  Kind = "urgent"  // alarms, by the worst they were
	Warning Kind = "warning" // a chore that could not wait is one too
	Notice  Kind = "notice"
	Birth   Kind = "birth" // kits seem to be born, by the probes or by the book
	Loss    Kind = "loss"
	Litter  Kind = "litter" // what else became of a litter
	Season  Kind = "season" // the weather asks for another make-up
	Opened  Kind = "opened" // somebody opened the nest
	Done    Kind = "done"   // a chore
	Note    Kind = "note"
	Chore   Kind = "chore" // came due
	Visit   Kind = "visit" // of the doe
)

// Kinds lists them, the most important first: it decides what is left out where there is too much, after which of the same kind the newest stays.
var Kinds = []Kind{Urgent, Birth, Loss, Warning, Litter, Season, Notice, Opened, Done, Note, Chore, Visit}

// Mark is one thing that happened. What does not apply is zero.
type Mark struct {
	At    time.Time // an alarm's onset
	Until time.Time // when it was over; zero while it is on, and for what has no duration
	On    bool
	Day   bool // only the day is known; At is its local midnight
	Kind  Kind

	Event alarm.Event // of the worst it was; its name is empty for an entry of the book
	Entry book.Entry  // its What is empty for an event
}

// Marks returns at most that many marks, in order of time, and how many of each kind there were beside.
func Marks(in *Input, most int) (marks []Mark, left map[Kind]int) {
	all := slices.Concat(in.ofEvents(), in.ofEntries())
	all = slices.DeleteFunc(all, func(m Mark) bool {
		last := cmp.Or(m.Until, m.At)
		return !m.At.Before(in.To) || !m.On && last.Before(in.From)
	})
	slices.SortStableFunc(all, func(a, b Mark) int {
		return cmp.Or(slices.Index(Kinds, a.Kind)-slices.Index(Kinds, b.Kind), b.At.Compare(a.At))
	})
	left = map[Kind]int{}
	if len(all) > most {
		for _, m := range all[most:] {
			left[m.Kind]++
		}
		all = all[:most]
	}
	slices.SortStableFunc(all, func(a, b Mark) int { return a.At.Compare(b.At) })
	return all, left
}

// ofEvents makes one mark of an alarm's rise, worsening and end.
func (in *Input) ofEvents() (all []Mark) {
	open := map[key]int{} // index of the mark
	for _, e := range in.Events {
		k := keyOf(e)
		i, on := open[k]
		switch {
		case e.State == alarm.Noted:
			all = append(all, Mark{At: e.Since, Event: e})
		case e.State == alarm.Raised && !on:
			open[k] = len(all)
			all = append(all, Mark{At: e.Since, On: true, Event: e})
		case e.State == alarm.Raised:
			if e.Severity >= all[i].Event.Severity {
				all[i].Event = e
			}
		case on:
			all[i].On, all[i].Until = false, e.Time
			delete(open, k)
		default: // it began before what is known here
			all = append(all, Mark{At: e.Since, Until: e.Time, Event: e})
		}
	}
	for _, s := range in.Standing {
		if _, on := open[keyOf(s.Event)]; !on && (s.Nest == in.Nest || s.Nest == "") && s.Severity != alarm.None {
			all = append(all, Mark{At: s.Since, On: true, Event: s.Event})
		}
	}
	for i := range all {
		all[i].Kind = kindOf(all[i].Event)
	}
	return all
}

// key tells alarms apart. A nest has each once, whichever of its probes decides; the site has one for each of what failed.
type key struct {
	nest, probe string
	name        alarm.Name
}

func keyOf(e alarm.Event) key {
	if e.Nest != "" {
		return key{e.Nest, "", e.Name}
	}
	return key{"", e.Probe, e.Name}
}

func kindOf(e alarm.Event) Kind {
	switch {
	case e.Name == alarm.Kindled:
		return Birth
	case e.Name == alarm.Visit:
		return Visit
	case e.Name == alarm.Inspection:
		return Opened
	case e.Severity == alarm.Urgent:
		return Urgent
	case e.Severity == alarm.Warning:
		return Warning
	case e.Name == alarm.SeasonSetupDue:
		return Season
	case e.Name.Chore():
		return Chore
	}
	return Notice
}

func (in *Input) ofEntries() (all []Mark) {
	kinds := map[book.What]Kind{book.Kindled: Birth, book.Lost: Loss, book.Did: Done, book.Noted: Note, book.Weighed: Note}
	for _, e := range in.Entries {
		all = append(all, Mark{At: e.At, Day: e.Day, Kind: cmp.Or(kinds[e.What], Litter), Entry: e})
	}
	return all
}
