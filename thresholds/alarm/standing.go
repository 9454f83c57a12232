package alarm

import "time"

// Standing is one alarm or chore that is on.
type Standing struct {
	Event                  // as last raised, with its newest text and value
	Acknowledged time.Time // zero while nobody has
}
