package quality

import (
	"time"

	"nestmon/thresholds/alarm"
)

// place is where an alarm comes; nest is empty for the site's own.
type place struct {
	nest string
	name alarm.Name
}

// spell is one alarm, notice or chore from its beginning to its end.
type spell struct {
	place
	began  time.Time // of an alarm when it first called for help
	over   time.Time // zero while it lasts
	worst  alarm.Severity
	urgent time.Time     // when it became so, zero where it did not
	seen   time.Time     // when a person did anything about it, zero where nobody did since it was last raised
	waited time.Duration // from urgent to that, the first time
	last   alarm.Event   // as last raised
	before time.Time     // when the same alarm had ended before, zero where it had not
	cut    bool          // its beginning lies before the first event
}

func (s *spell) alarm() bool { return s.worst >= alarm.Warning && !s.name.Chore() }

// again reports whether the same alarm had ended shortly before.
func (s *spell) again() bool { return !s.before.IsZero() && s.began.Sub(s.before) <= againWithin }

// lasted is how long it stood, as far as is known at that time.
func (s *spell) lasted(now time.Time) time.Duration {
	if s.over.IsZero() {
		return now.Sub(s.began)
	}
	return s.over.Sub(s.began)
}

// spells joins events and acts, both in the order of their times.
func spells(events []alarm.Event, acts []alarm.Act) (all []*spell) {
	now := map[place]*spell{} // the newest of each place
	for _, e := range events {
		for len(acts) > 0 && acts[0].At.Before(e.Time) {
			answer(now, acts[0])
			acts = acts[1:]
		}
		at := place{e.Nest, e.Name}
		s := now[at]
		switch {
		case e.State == alarm.Raised && (s == nil || !s.over.IsZero()):
			fresh := &spell{place: at, began: e.Time}
			if s != nil && s.alarm() {
				fresh.before = s.over
			}
			fresh.raise(e)
			now[at] = fresh
			all = append(all, fresh)
		case e.State == alarm.Raised:
			s.raise(e)
		case e.State == alarm.Cleared && s == nil:
			s = &spell{place: at, began: e.Since, over: e.Time, worst: e.Severity, last: e, cut: true}
			now[at] = s
			all = append(all, s)
		case e.State == alarm.Cleared && s.over.IsZero():
			s.over = e.Time
		}
	}
	for _, a := range acts {
		answer(now, a)
	}
	return all
}

// raise notes the beginning, or that it grew worse: then it has not been seen as it is now.
func (s *spell) raise(e alarm.Event) {
	if e.Severity >= alarm.Warning && s.worst < alarm.Warning {
		s.began = e.Time
	}
	s.last, s.seen, s.worst = e, time.Time{}, max(s.worst, e.Severity)
	if e.Severity == alarm.Urgent && s.urgent.IsZero() {
		s.urgent = e.Time
	}
}

// answer notes what a person did: who shelves an alarm or takes it out of service has seen it too.
func answer(now map[place]*spell, a alarm.Act) {
	switch a.Action {
	case alarm.Acknowledge, alarm.Shelve, alarm.TakeOut:
	default:
		return
	}
	for at, s := range now {
		if at.nest != a.Nest || a.Event != "" && at.name != a.Event || !s.seen.IsZero() {
			continue
		}
		s.seen = a.At
		if !s.urgent.IsZero() && s.waited == 0 {
			s.waited = max(a.At.Sub(s.urgent), time.Millisecond) // 0 says that nobody has
		}
	}
}
