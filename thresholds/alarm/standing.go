package alarm

import "time"

// Standing is one alarm or chore that is not normal: it is on, or it is over and nobody has seen it, or no call is wanted for it. It is all
// that is remembered of it, so what stores it stores every field.
type Standing struct {
	Event                      // as last raised, with its newest text and value; of an alarm that was never on only Nest and Name
	Status       Status        // empty counts as unacknowledged, as releases did that knew no other
	Worst        Severity      // the highest it was raised with since somebody saw it: it may fall before the end
	Over         time.Time     // when its condition ended; zero while it lasts
	Acknowledged time.Time     // zero while nobody has
	By           string        // who did what led to this status, empty where nobody did
	Left         time.Duration // of its shelf: how long the daemon still has to run until it ends
	Until        time.Time     // when that is, for a person to read, by the clock as it went when it was shelved or the daemon started
	Covers       Severity      // what its shelf is for, a higher one ends it; None for whatever comes
	Because      Name          // the alarm that stands for this one while it is suppressed
	First        bool          // no other alarm of this place stood when it began
	Latched      bool          // it is over, was seen before, and waits for somebody to look once more
}

// On reports whether the condition lasts.
func (s Standing) On() bool { return s.Severity != None && s.Over.IsZero() }

// owed reports whether a person still has to say that it was seen. Notices and chores end by themselves.
func (s Standing) owed() bool {
	return s.Severity != None && (s.Latched || s.Acknowledged.IsZero() && (s.On() || s.Worst >= Warning && !s.Name.Chore()))
}

// after returns the step that an action makes; by is the person who did it, empty for none.
func (s Standing) after(a Action, by string) (Change, error) {
	from := s.Status
	to, err := from.after(a, life{on: s.On(), owed: s.owed()})
	if err != nil {
		return Change{}, err
	}
	s.Status = to
	if by != "" || to != from || to == Unacknowledged {
		s.By = by
	}
	if to != Shelved {
		s.Left, s.Until, s.Covers = 0, time.Time{}, None
	}
	if to != Suppressed {
		s.Because = ""
	}
	return Change{s, a, from}, nil
}

// Find returns the alarm of that place and name, the zero Standing where it is not on. nest is empty for the site's own.
func Find(all []Standing, nest string, name Name) Standing {
	for _, st := range all {
		if st.Nest == nest && st.Name == name && st.On() {
			return st
		}
	}
	return Standing{}
}
