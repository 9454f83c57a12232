package phone

import "nestmon/thresholds/alarm"

// Reason is why a person is told of an event.
type Reason string

// The reasons.
const (
	Began     Reason = "began"      // it was raised at or above the level
	GrewWorse Reason = "grew worse" // its severity rose, or more things are concerned, after it was told
	Ended     Reason = "ended"      // it is over, and a person had been told
	Happened  Reason = "happened"   // it has no duration and is worth telling
)

// Why decides whether a person is told of e. atLeast is the lowest severity that is told of, told the highest severity that
// was told since the alarm was raised, None when nothing was.
func Why(e alarm.Event, atLeast, told alarm.Severity) (Reason, bool) {
	switch {
	case e.State == alarm.Cleared:
		// A severity can fall quietly before the end: what was told counts. Chores end because somebody did them.
		return Ended, told >= max(atLeast, alarm.Warning) && !e.Name.Chore()
	case e.Severity < atLeast:
		return "", false
	case e.State == alarm.Noted:
		// Visits and inspections are the ordinary life of a nest; the page shows them.
		return Happened, e.Name != alarm.Visit && e.Name != alarm.Inspection
	case told == alarm.None:
		return Began, true
	}
	return GrewWorse, true
}

// Told remembers what a person was told, so that the end of an alarm is told exactly when its beginning was.
type Told struct {
	atLeast alarm.Severity
	highest map[told]alarm.Severity
}

type told struct {
	nest string
	name alarm.Name
}

// NewTold begins with the alarms that stood when the daemon started, as if each had been told at its severity.
func NewTold(atLeast alarm.Severity, standing []alarm.Standing) *Told {
	t := &Told{atLeast: atLeast, highest: map[told]alarm.Severity{}}
	for _, st := range standing {
		if st.Severity >= atLeast {
			t.raise(st.Event)
		}
	}
	return t
}

// Take decides about e and remembers the decision. Events must come in order.
func (t *Told) Take(e alarm.Event) (Reason, bool) {
	key := told{e.Nest, e.Name}
	why, yes := Why(e, t.atLeast, t.highest[key])
	if e.State == alarm.Cleared && e.Name == alarm.HeatExpected && t.highest[told{e.Nest, alarm.NestHeat}] > alarm.None {
		yes = false // what was expected is here, and "over" would say that it is not
	}
	switch {
	case e.State == alarm.Cleared:
		delete(t.highest, key)
	case yes && e.State == alarm.Raised:
		t.raise(e)
	}
	if !yes {
		return "", false
	}
	return why, true
}

func (t *Told) raise(e alarm.Event) {
	key := told{e.Nest, e.Name}
	t.highest[key] = max(t.highest[key], e.Severity)
}
