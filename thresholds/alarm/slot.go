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
	Rule     string // as Words, from a rule that brings its own
	Source   string // as Words, from a rule that brings its own
	Count    int    // how many things it is about; more of them is another raised event
	Sure     bool   // None needs no delay behind it: it ends even an alarm that was only restored
}

// Words explain a condition to a person.
type Words struct {
	Text   string // which nest, what is wrong, value and limit, what to do
	Rule   string // what was compared with what, and for how long
	Source string // where the limit comes from
}

// Slot remembers one alarm of one place. The zero Slot is off.
type Slot struct {
	on *raised // nil while it is off, as most are most of the time
}

// raised is an alarm that is on.
type raised struct {
	Event
	Last Condition // the newest that was not a Hold
	Wait int       // minutes for which a restored alarm still waits for its rule
}

// restoredWait is how many minutes a restored alarm outlasts a rule that says that all is well: after a start most rules say so until
// their own delay has passed again. The longest delay of a danger to kits up to day 20 is an hour; ours, no source.
const restoredWait = 65

// On reports whether the alarm is on.
func (s *Slot) On() bool { return s.on != nil }

// Standing is the alarm as it stands, with its newest value; the zero Standing while it is off. What people do about it is not known here.
func (s *Slot) Standing() Standing {
	if s.on == nil {
		return Standing{}
	}
	return Standing{Event: s.on.Event}
}

// Condition is what the rule last said; ok is false while the alarm is off or was only restored.
func (s *Slot) Condition() (c Condition, ok bool) {
	if s.on == nil {
		return c, false
	}
	return s.on.Last, s.on.Last.Severity != None
}

// Apply takes the rule's newest condition, once a minute, and returns the event to write if there is a change;
// words says what a condition means.
func (s *Slot) Apply(t time.Time, nest string, name Name, c Condition, words func(Condition) Words) (Event, bool) {
	on := s.on
	switch {
	case c.Hold || (c.Severity == None && on == nil):
		return Event{}, false
	case c.Severity == None && on.Wait > 0 && !c.Sure:
		on.Wait--
		return Event{}, false
	case c.Severity == None:
		e := newEvent(t, nest, name, c)
		e.State, e.Severity, e.Since = Cleared, on.Severity, on.Since
		e.say(Words{over(nest, name), on.Rule, on.Source})
		s.on = nil
		return e, true
	case on == nil || c.Severity > on.Severity || c.Count > on.Last.Count:
		e := newEvent(t, nest, name, c)
		e.say(words(c))
		if on != nil {
			e.Since = on.Since
		}
		s.on = &raised{Event: e, Last: c}
		return e, true
	}
	if c.Severity != on.Severity || c.Why != on.Last.Why || c.Limit != on.Limit { // it stands on another rule now
		on.say(words(c))
	}
	on.Severity, on.Last, on.Wait = c.Severity, c, 0
	on.Value, on.Limit, on.HasValue, on.HasLimit = c.Value, c.Limit, c.HasValue, c.HasLimit
	on.Unit, on.Probe = c.Unit, c.Probe
	return Event{}, false
}

// over says that an alarm has ended.
func over(nest string, name Name) string {
	if nest == "" {
		return fmt.Sprintf("Over: %s.", name.Plain())
	}
	return fmt.Sprintf("Over at nest %s: %s.", nest, name.Plain())
}

func newEvent(t time.Time, nest string, name Name, c Condition) Event {
	return Event{
		Time: t, Since: c.Since, Nest: nest, Name: name, State: Raised, Severity: c.Severity,
		Value: c.Value, Limit: c.Limit, HasValue: c.HasValue, HasLimit: c.HasLimit, Unit: c.Unit, Probe: c.Probe,
	}
}

// Say stores the words of the alarm while it is on.
func (s *Slot) Say(w Words) {
	if s.on != nil {
		s.on.say(w)
	}
}

func (e *Event) say(w Words) { e.Text, e.Rule, e.Source = w.Text, w.Rule, w.Source }

// Restore puts back an alarm that was on when the state was stored. What it counted then is not known: only a higher severity raises
// it anew. Nor has its rule looked yet: its first word that all is well is not believed.
func (s *Slot) Restore(st Standing) {
	s.on = &raised{Event: st.Event, Last: Condition{Count: math.MaxInt}, Wait: restoredWait}
}

// State lists what the slot remembers, for package keep.
func (s *Slot) State() []any { return []any{&s.on} }

// Agree takes what was stored of the alarm, its zero where it was not on. The slot remembers how things stood minutes before, or
// what has changed since but was not stored and so was told to nobody. What was told stands; what was not is raised anew.
func (s *Slot) Agree(st Standing) {
	switch {
	case st.Severity == None:
		s.on = nil
	case s.on == nil:
		s.Restore(st)
	case st.Severity < s.on.Severity:
		s.on.Event = st.Event
	}
}
