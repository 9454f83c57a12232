package alarm

import "time"

// Standing is one alarm or chore that is on.
type Standing struct {
	Event                  // as last raised, with its newest text and value
	Acknowledged time.Time // zero while nobody has
}

// Find returns the alarm of that place and name, the zero Standing where it is not on. nest is empty for the site's own.
func Find(all []Standing, nest string, name Name) Standing {
	for _, st := range all {
		if st.Nest == nest && st.Name == name {
			return st
		}
	}
	return Standing{}
}
