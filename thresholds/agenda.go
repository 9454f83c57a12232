package thresholds

import (
	"cmp"
	"slices"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

// Task is one chore of the agenda: one that is due, will be, or was done lately.
type Task struct {
	Nest   string // "" for the whole site
	Litter int64  // the litter it is for, 0 for none
	Chore  alarm.Name
	From   time.Time // it is due from here
	Late   time.Time // from here it is a warning, before a notice; zero when it never is one
	Until  time.Time // it no longer makes sense from here; zero when only doing it ends it
	Done   time.Time // when it was marked done, zero while it was not
	Daily  bool      // it comes again within a day, and the agenda shows only its next time
	Text   string    // what to do, and why, without the nest's name
	Rule   string    // the days it goes by
	Source string    // where the days come from
}

// TaskState is where a task is at an instant.
type TaskState string

// The states, in the order in which they are shown.
const (
	Overdue TaskState = "overdue" // late
	Today   TaskState = "today"   // it stands, or begins today
	Coming  TaskState = "coming"  // on a later day
	Done    TaskState = "done"
)

// State is the task's state at an instant, whose day is that of loc.
func (t Task) State(now time.Time, loc *time.Location) TaskState {
	return t.state(now, litter.NextDay(now, loc))
}

// state is State where the next day is known: to find it is dear, and a board sorts some hundred tasks at every poll.
func (t Task) state(now, tomorrow time.Time) TaskState {
	switch {
	case !t.Done.IsZero():
		return Done
	case !t.Late.IsZero() && !now.Before(t.Late):
		return Overdue
	case t.From.Before(tomorrow):
		return Today
	}
	return Coming
}

// lately is how long ago a chore may have been done to be on the agenda.
const lately = 7 * 24 * time.Hour

// Agenda lists what is due at now, what comes before until, and what was done in the week before now, for every nest and the site: by
// state, and within it the earliest first. What is due on it stands as an alarm; both are made of the same dates.
func (r *Rabbitry) Agenda(now, until time.Time) []Task {
	n := r.now
	n.Wall = now.In(r.cfg.Location)
	var all []Task
	take := func(nest string, id int64) func(d litter.Due) {
		return func(d litter.Due) {
			all = append(all, Task{nest, id, d.Event, d.From, d.Late, d.Until, d.Done, d.Daily, d.Text, d.Rule, d.Source})
		}
	}
	r.site.Agenda(&n, r.now.Wall, now.Add(-lately), until, take("", 0))
	for _, w := range r.nests {
		id := int64(0)
		if l := w.Litter(); l != nil {
			id = l.ID
		}
		w.Agenda(&n, r.now.Wall, now.Add(-lately), until, take(w.Config().ID, id))
	}
	tomorrow := litter.NextDay(now, n.Wall.Location())
	slices.SortStableFunc(all, func(a, b Task) int {
		return cmp.Or(a.order(now, tomorrow)-b.order(now, tomorrow), a.From.Compare(b.From), rank(a.Chore)-rank(b.Chore))
	})
	return all
}

func (t Task) order(now, tomorrow time.Time) int {
	return slices.Index([]TaskState{Overdue, Today, Coming, Done}, t.state(now, tomorrow))
}
