package alarm

import (
	"cmp"
	"fmt"
	"time"
)

// Status is where an alarm stands between its condition and a person. The words are those of OPC 10000-9 (Alarms and Conditions, read in
// release 1.05.03 on reference.opcfoundation.org, in part), which are generic; no conformance is claimed.
type Status string

// The statuses.
const (
	Normal         Status = "normal"
	Unacknowledged Status = "unacknowledged"
	Acknowledged   Status = "acknowledged"
	Returned       Status = "returned-unacknowledged" // it is over, and nobody has said that it was seen
	Shelved        Status = "shelved"                 // a person wants no call for a while
	Suppressed     Status = "suppressed-by-design"    // another alarm stands for it
	OutOfService   Status = "out-of-service"          // a person wants no call until further notice
)

// Statuses lists them all.
var Statuses = []Status{Normal, Unacknowledged, Acknowledged, Returned, Shelved, Suppressed, OutOfService}

// Calls reports whether a person may be called for an alarm of this status.
func (s Status) Calls() bool { return s == Unacknowledged || s == "" }

// Action is what can happen to an alarm: what its rule says, what another alarm does to it, or what a person does.
type Action string

// The actions. A person's are those of Actions.
const (
	Raise      Action = "raise" // also when it grows worse
	Clear      Action = "clear"
	Suppress   Action = "suppress"
	Unsuppress Action = "unsuppress"

	Acknowledge Action = "acknowledge"
	Shelve      Action = "shelve"
	Unshelve    Action = "unshelve" // also when the time of the shelf is over
	TakeOut     Action = "out-of-service"
	PutBack     Action = "in-service"

	SetLimits Action = "set-limits" // of no alarm: what all are judged by
)

// Actions lists what a person can do.
var Actions = []Action{Acknowledge, Shelve, Unshelve, TakeOut, PutBack}

// Act is one deed of a person, as the journal keeps it.
type Act struct {
	Action Action        `json:"action"`
	Nest   string        `json:"nest"`            // empty for the site's own
	Event  Name          `json:"event"`           // empty for every alarm of the nest
	For    time.Duration `json:"for,omitempty"`   // how long it is shelved; 0 for the longest allowed
	By     string        `json:"by"`              // who, and by which way
	At     time.Time     `json:"at"`              // when; the daemon fills it in
	Since  time.Time     `json:"since,omitzero"`  // of the occurrence that is meant, zero for whichever stands
	Worst  Severity      `json:"worst,omitempty"` // the highest severity the person was told of, 0 for any
	What   string        `json:"what,omitempty"`  // of SetLimits: which, from what to what
}

// life is what decides the next status beside the present one.
type life struct {
	on   bool // its condition lasts
	owed bool // a person still has to say that it was seen
}

// next says where an action leads from each status; what is not listed is refused.
//
// OPC 10000-9 keeps Active, Acked, Suppressed, OutOfService and Shelving side by side and lets each change for itself. Here they are one
// word, so that nobody has to read five; where two would hold, a person's word goes before another alarm's, and either before the rest.
var next = map[Status]map[Action]func(life) Status{
	Normal: {
		Raise:    always(Unacknowledged),
		Shelve:   always(Shelved),
		Suppress: always(Suppressed),
		TakeOut:  always(OutOfService),
	},
	Unacknowledged: {
		Raise:       always(Unacknowledged),
		Clear:       ended,
		Acknowledge: always(Acknowledged),
		Shelve:      always(Shelved),
		Suppress:    always(Suppressed),
		TakeOut:     always(OutOfService),
	},
	Acknowledged: {
		Raise:       always(Unacknowledged),
		Clear:       ended,
		Acknowledge: always(Acknowledged),
		Shelve:      always(Shelved),
		Suppress:    always(Suppressed),
		TakeOut:     always(OutOfService),
	},
	Returned: {
		Raise:       always(Unacknowledged),
		Acknowledge: always(Normal),
		Shelve:      always(Shelved),
		Suppress:    always(Suppressed),
		TakeOut:     always(OutOfService),
	},
	Shelved: {
		Raise:    always(Shelved),
		Clear:    always(Shelved),
		Shelve:   always(Shelved),
		Unshelve: open,
		TakeOut:  always(OutOfService),
	},
	Suppressed: {
		Raise:      always(Suppressed),
		Clear:      always(Suppressed),
		Suppress:   always(Suppressed),
		Unsuppress: open,
		Shelve:     always(Shelved),
		TakeOut:    always(OutOfService),
	},
	OutOfService: {
		Raise:   always(OutOfService),
		Clear:   always(OutOfService),
		TakeOut: always(OutOfService),
		PutBack: open,
	},
}

func always(s Status) func(life) Status { return func(life) Status { return s } }

func ended(l life) Status {
	if l.owed {
		return Returned
	}
	return Normal
}

// open is where an alarm is found again after the time in which nobody was called for it.
func open(l life) Status {
	switch {
	case !l.on:
		return ended(l)
	case l.owed:
		return Unacknowledged
	}
	return Acknowledged
}

// after returns the status after an action, or why it cannot be.
func (s Status) after(a Action, l life) (Status, error) {
	to, ok := next[s][a]
	if !ok {
		return s, fmt.Errorf("what is %s cannot take %q; %s", s, a, remedy(s, a))
	}
	return to(l), nil
}

// remedies say what to do instead of an action that is refused, under "" for every status that has no words of its own.
var remedies = map[Action]map[Status]string{
	Clear: {"": "leave it, it is over already"},
	Acknowledge: {
		"":           "look at what stands now",
		Shelved:      "unshelve it first",
		Suppressed:   "acknowledge the alarm that stands for it",
		OutOfService: "put it back in service first",
	},
	Shelve:     {"": "put it back in service first"},
	Unshelve:   {"": "leave it, it is not shelved", OutOfService: "put it back in service instead"},
	PutBack:    {"": "leave it, it is in service", Shelved: "unshelve it instead"},
	Suppress:   {"": "leave it, a person's word counts first"},
	Unsuppress: {"": "leave it, no other alarm stands for it"},
}

func remedy(s Status, a Action) string { return cmp.Or(remedies[a][s], remedies[a][""]) }
