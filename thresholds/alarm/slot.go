package alarm

import "time"

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
}

// Slot remembers one alarm of one place. The zero Slot is off.
type Slot struct {
	on    Standing
	count int
}

// On reports whether the alarm is on.
func (s *Slot) On() bool { return s.on.Severity != None }

// Severity is the severity that is on, None when the alarm is off.
func (s *Slot) Severity() Severity { return s.on.Severity }

// Standing is the alarm as it stands; meaningful while it is on.
func (s *Slot) Standing() Standing { return s.on }

// Apply takes the rule's newest condition and returns the event to write, without words, if there is a change.
func (s *Slot) Apply(t time.Time, nest string, name Name, c Condition) (Event, bool) {
	was := s.on.Severity
	switch {
	case c.Hold || (c.Severity == None && was == None):
		return Event{}, false
	case c.Severity == None:
		e := newEvent(t, nest, name, c)
		e.State, e.Severity, e.Since = Cleared, was, s.on.Since
		*s = Slot{}
		return e, true
	case was == None || c.Severity > was || c.Count > s.count:
		e := newEvent(t, nest, name, c)
		if was != None {
			e.Since = s.on.Since
		}
		s.on, s.count = Standing{Event: e}, c.Count
		return e, true
	}
	s.on.Severity, s.count = c.Severity, c.Count
	s.on.Value, s.on.Limit, s.on.HasValue, s.on.HasLimit = c.Value, c.Limit, c.HasValue, c.HasLimit
	s.on.Probe = c.Probe
	return Event{}, false
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

// Restore puts back an alarm that was on when the state was stored.
func (s *Slot) Restore(st Standing) { s.on = st }
