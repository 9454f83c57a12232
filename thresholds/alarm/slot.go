package alarm

import (
	"fmt"
	"math"
	"time"
)

// Condition is what one rule says at one instant, its delay and deadband already honoured.
type Condition struct {
	Severity Severity  // None when all is well
	Hold     bool      // inputs are missing: what is on stays on, what is off stays off
	Since    time.Time // when it began
	Value    float64   // what was compared; valid where HasValue
	Limit    float64   // valid where HasLimit
	HasValue bool
	HasLimit bool
	Unit     string
	Probe    string
	Why      string // the rule's variant, for the words
	Count    int    // how many things it is about; more of them is another raised event
	Sure     bool   // None needs no delay behind it: it ends even an alarm that was only restored
}

// Slot remembers one alarm of one place. The zero Slot is off.
type Slot struct {
	on   Standing
	last Condition // the newest that was not a Hold
	wait int       // minutes for which a restored alarm still waits for its rule
}

// restoredWait is how many minutes a restored alarm outlasts a rule that says that all is well: after a start most rules say so until
// their own delay has passed again. The longest delay of a danger to kits up to day 20 is an hour; ours, no source.
const restoredWait = 65

// On reports whether the alarm is on.
func (s *Slot) On() bool { return s.on.Severity != None }

// Standing is the alarm as it stands, with its newest value; meaningful while it is on.
func (s *Slot) Standing() Standing { return s.on }

// Condition is what the rule last said; ok is false while the alarm is off or was only restored.
func (s *Slot) Condition() (c Condition, ok bool) { return s.last, s.On() && s.last.Severity != None }

// Apply takes the rule's newest condition, once a minute, and returns the event to write if there is a change;
// words says what a condition means.
func (s *Slot) Apply(t time.Time, nest string, name Name, c Condition, words func(Condition) string) (Event, bool) {
	was := s.on.Severity
	switch {
	case c.Hold || (c.Severity == None && was == None):
		return Event{}, false
	case c.Severity == None && s.wait > 0 && !c.Sure:
		s.wait--
		return Event{}, false
	case c.Severity == None:
		e := newEvent(t, nest, name, c)
		e.State, e.Severity, e.Since, e.Text = Cleared, was, s.on.Since, over(nest, name)
		*s = Slot{}
		return e, true
	case was == None || c.Severity > was || c.Count > s.last.Count:
		e := newEvent(t, nest, name, c)
		e.Text = words(c)
		if was != None {
			e.Since = s.on.Since
		}
		*s = Slot{on: Standing{Event: e}, last: c}
		return e, true
	}
	s.on.Severity, s.last, s.wait = c.Severity, c, 0
	s.on.Value, s.on.Limit, s.on.HasValue, s.on.HasLimit = c.Value, c.Limit, c.HasValue, c.HasLimit
	s.on.Unit, s.on.Probe = c.Unit, c.Probe
	return Event{}, false
}

// over says that an alarm has ended.
func over(nest string, name Name) string {
	if nest == "" {
		return fmt.Sprintf("%s is over.", name)
	}
	return fmt.Sprintf("%s of nest %s is over.", name, nest)
}

func newEvent(t time.Time, nest string, name Name, c Condition) Event {
	return Event{
		Time: t, Since: c.Since, Nest: nest, Name: name, State: Raised, Severity: c.Severity,
		Value: c.Value, Limit: c.Limit, HasValue: c.HasValue, HasLimit: c.HasLimit, Unit: c.Unit, Probe: c.Probe,
	}
}

// Say stores the words of the alarm that is on.
func (s *Slot) Say(text string) { s.on.Text = text }

// Acknowledge records that a person has seen the alarm. It reports false when the alarm is not on.
func (s *Slot) Acknowledge(t time.Time) bool {
	if !s.On() {
		return false
	}
	if s.on.Acknowledged.IsZero() {
		s.on.Acknowledged = t
	}
	return true
}

// Restore puts back an alarm that was on when the state was stored. What it counted then is not known: only a higher severity raises
// it anew. Nor has its rule looked yet: its first word that all is well is not believed.
func (s *Slot) Restore(st Standing) {
	*s = Slot{on: st, last: Condition{Count: math.MaxInt}, wait: restoredWait}
}

// State lists what the slot remembers, for package keep.
func (s *Slot) State() []any { return []any{&s.on, &s.last, &s.wait} }

// Agree takes what was stored of the alarm, its zero where it was not on. The slot remembers how things stood minutes before, or
// what has changed since but was not stored and so was told to nobody. What was told stands; what was not is raised anew.
func (s *Slot) Agree(st Standing) {
	switch {
	case st.Severity == None:
		*s = Slot{}
	case !s.On():
		s.Restore(st)
	case st.Severity < s.on.Severity:
		s.on = st
	case st.Time.Equal(s.on.Time):
		s.on.Acknowledged = st.Acknowledged
	}
}
