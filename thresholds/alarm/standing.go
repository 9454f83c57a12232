package alarm

import "time"

// Standing is one alarm or chore that is not normal: it is on, or it is over and nobody has seen it, or no call is wanted for it.
type Standing struct {
	Event                  // as last raised, with its newest text and value; of an alarm that was never on only Nest and Name
	Status       Status    // empty counts as unacknowledged, as releases did that knew no other
	Over         time.Time // when its condition ended; zero while it lasts
	Acknowledged time.Time // zero while nobody has
	By           string    // who did what led to this status, empty where nobody did
	Until        time.Time // when its shelf ends; zero where it has none
	Because      Name      // the alarm that stands for this one while it is suppressed
	First        bool      // no other alarm of this place stood when it began
	Latched      bool      // it is over, was seen before, and waits for somebody to look once more
}

// On reports whether the condition lasts.
func (s Standing) On() bool { return s.Severity != None && s.Over.IsZero() }

// Find returns the alarm of that place and name, the zero Standing where it is not on. nest is empty for the site's own.
func Find(all []Standing, nest string, name Name) Standing {
	for _, st := range all {
		if st.Nest == nest && st.Name == name && st.On() {
			return st
		}
	}
	return Standing{}
}
