package main

import (
	"errors"
	"fmt"
	"strconv"
	"time"

	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

// The agenda is worked out ahead, so that who asks need not wait for a poll to end: after each entry, with each poll that changed something,
// and every few minutes, for a look or a change of the weather moves what is to come. Ours, no source.
const (
	agendaAhead = 60 * 24 * time.Hour
	agendaEvery = 5 * time.Minute
)

// choresAhead is how many days of it are listed where nobody says.
const choresAhead = 7

func (d *daemon) plan(now time.Time, changed bool) {
	if !changed && now.Sub(d.planned).Abs() < agendaEvery {
		return
	}
	d.planned = now
	tasks := d.judge.rabbitry.Agenda(now, now.Add(agendaAhead))
	d.tasks.Store(&tasks)
}

// taskView is a chore as the commands print it.
type taskView struct {
	Nest   *string              `json:"nest"`
	Litter *int64               `json:"litter"`
	Event  alarm.Name           `json:"event"`
	State  thresholds.TaskState `json:"state"`
	From   time.Time            `json:"from"`
	Late   *time.Time           `json:"late"`
	Until  *time.Time           `json:"until"`
	Done   *time.Time           `json:"done"`
	Daily  bool                 `json:"daily"`
	Text   string               `json:"text"`
	Rule   string               `json:"rule"`
	Source string               `json:"source"`
}

func viewTask(t thresholds.Task, now time.Time, loc *time.Location) taskView {
	v := taskView{
		Event: t.Chore, State: t.State(now, loc), From: t.From.In(loc), Late: known(t.Late), Until: known(t.Until), Done: known(t.Done),
		Daily: t.Daily, Text: t.Text, Rule: t.Rule, Source: t.Source,
	}
	if t.Nest != "" {
		v.Nest = &t.Nest
	}
	if t.Litter != 0 {
		v.Litter = &t.Litter
	}
	return v
}

// agenda answers a command: the chores of so many days.
func (d *daemon) agenda(days string) ([]taskView, error) {
	ahead, err := strconv.Atoi(days)
	if most := int(agendaAhead.Hours() / 24); err != nil || ahead < 0 || ahead > most {
		return nil, fmt.Errorf("%q is no number of days; write 0 to %d", days, most)
	}
	if d.bookUnread {
		return nil, errBookUnread
	}
	tasks := d.tasks.Load()
	if tasks == nil {
		return nil, errors.New("nothing has been measured yet; try again in a moment")
	}
	now, loc := d.pace.Now(), d.cfg.location()
	until, all := litter.StartOf(now, ahead+1, loc), []taskView{}
	for _, t := range *tasks {
		if t.From.Before(until) || !t.Done.IsZero() {
			all = append(all, viewTask(t, now, loc))
		}
	}
	return all, nil
}

func known(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}
