package quality

import (
	"slices"
	"time"

	"nestmon/thresholds/alarm"
)

// Call is one time a person was called at once, by day or by night.
type Call struct {
	At    time.Time  `json:"at"`
	Nest  string     `json:"nest"` // empty for the site's own
	Event alarm.Name `json:"event"`
	Night bool       `json:"night"` // between 22:00 and 06:00
}

// calls lists when a person was called: at the given times, or without any whenever something became urgent. What comes within ten
// minutes of the call before wakes nobody once more.
func (in *Input) calls() (all []Call) {
	var raised []alarm.Event
	for _, e := range in.Events {
		if e.State != alarm.Cleared && e.Severity >= alarm.Warning {
			raised = append(raised, e)
		}
	}
	times := slices.SortedFunc(slices.Values(in.Woken), time.Time.Compare)
	if in.Woken == nil {
		for _, e := range raised {
			if e.Severity == alarm.Urgent && !e.Name.Chore() {
				times = append(times, e.Time)
			}
		}
	}
	var before time.Time
	for _, t := range times {
		alone := before.IsZero() || t.Sub(before) > oneCall
		before = t
		if !alone || !in.inside(t) {
			continue
		}
		c := Call{At: t, Night: in.night(t)}
		c.Nest, c.Event = caller(raised, t, in.Woken == nil)
		all = append(all, c)
	}
	return all
}

// caller is the newest event at that time, the worst of several; where the calls follow from what became urgent, the one that did.
func caller(raised []alarm.Event, t time.Time, exact bool) (nest string, name alarm.Name) {
	var is alarm.Event
	for _, e := range raised {
		if e.Time.After(t) {
			break
		}
		if exact && (e.Severity != alarm.Urgent || e.Name.Chore()) || e.Time.Equal(is.Time) && e.Severity <= is.Severity {
			continue
		}
		is = e
	}
	return is.Nest, is.Name
}

func (in *Input) night(t time.Time) bool {
	h := t.In(in.location()).Hour()
	return h >= nightFrom || h < nightTo
}

// Flood is a time in which more alarms came than a person can take in.
type Flood struct {
	From   time.Time `json:"from"` // the first of its alarms
	To     time.Time `json:"to"`   // the last
	Alarms int       `json:"alarms"`
}

// floods looks at every alarm with those of the ten minutes before it.
func floods(began []time.Time) (all []Flood) {
	first := 0 // of the ten minutes
	end := -1  // the last alarm that was counted in a flood
	for i, t := range began {
		for t.Sub(began[first]) > floodWithin {
			first++
		}
		if i-first+1 <= floodOver {
			continue
		}
		if n := len(all); n > 0 && first <= end {
			all[n-1].To, all[n-1].Alarms = t, all[n-1].Alarms+i-end
		} else {
			all = append(all, Flood{began[first], t, i - first + 1})
		}
		end = i
	}
	return all
}

// chatter counts groups of three beginnings within a minute, no beginning twice.
func chatter(began []time.Time) (n int) {
	for i := 0; i+chatterCount <= len(began); i++ {
		if began[i+chatterCount-1].Sub(began[i]) <= chatterWithin {
			n++
			i += chatterCount - 1
		}
	}
	return n
}
