package alarm

import (
	"encoding/json"
	"fmt"
	"time"
)

// Name is the name of an event, as events files, topics and metrics print it.
type Name string

// Every event nestmon can raise or note. The list is closed.
const (
	NestHeat        Name = "nest-heat"
	ClusterHeat     Name = "cluster-heat"
	HeatExpected    Name = "heat-expected"
	ClusterChill    Name = "cluster-chill"
	NestCold        Name = "nest-cold"
	DoeHeat         Name = "doe-heat"
	DoeCold         Name = "doe-cold"
	ToteWet         Name = "tote-wet"
	CheckNest       Name = "check-nest"
	ProbeSilent     Name = "probe-silent"
	ProbeFault      Name = "probe-fault"
	BusFault        Name = "bus-fault"
	SinkFault       Name = "sink-fault"
	PowerFault      Name = "power-fault"
	DaemonFault     Name = "daemon-fault"
	Kindled         Name = "kindled"
	Visit           Name = "visit"
	Inspection      Name = "inspection"
	VisitOverdue    Name = "visit-overdue"
	BeddingDue      Name = "bedding-due"
	VentilationDue  Name = "ventilation-due"
	SeasonSetupDue  Name = "season-setup-due"
	BoxDue          Name = "box-due"
	InspectDue      Name = "inspect-due"
	TurnBoxDue      Name = "turn-box-due"
	RemoveBoxDue    Name = "remove-box-due"
	CollectDue      Name = "collect-due"
	WeanDue         Name = "wean-due"
	KindlingOverdue Name = "kindling-overdue"

	CheckPregnancyDue  Name = "check-pregnancy-due"
	ConfirmKindlingDue Name = "confirm-kindling-due"
	RationDue          Name = "ration-due"
	HideBoxDue         Name = "hide-box-due"
	ReturnBoxDue       Name = "return-box-due"
	WaterDue           Name = "water-due"
	FlyStrikeDue       Name = "fly-strike-due"
	ResealToteDue      Name = "reseal-tote-due"
)

// Names lists every event, in the order pages and metrics show them.
var Names = []Name{
	NestHeat, ClusterHeat, HeatExpected, ClusterChill, NestCold, DoeHeat, DoeCold, ToteWet, CheckNest,
	ProbeSilent, ProbeFault, BusFault, SinkFault, PowerFault, DaemonFault,
	Kindled, Visit, Inspection, VisitOverdue,
	BeddingDue, VentilationDue, SeasonSetupDue,
	BoxDue, InspectDue, TurnBoxDue, RemoveBoxDue, CollectDue, WeanDue, KindlingOverdue,
	CheckPregnancyDue, ConfirmKindlingDue, RationDue, HideBoxDue, ReturnBoxDue, WaterDue, FlyStrikeDue, ResealToteDue,
}

var plain = map[Name]string{
	NestHeat:        "nest too hot",
	ClusterHeat:     "kits too hot",
	HeatExpected:    "will be too hot within two hours",
	ClusterChill:    "kits too cold",
	NestCold:        "nest cold",
	DoeHeat:         "too hot for the doe",
	DoeCold:         "cold for the doe",
	ToteWet:         "wet",
	CheckNest:       "look into the nest",
	ProbeSilent:     "no data, nobody is watching",
	ProbeFault:      "probe faulty",
	BusFault:        "a whole bus of probes is dead",
	SinkFault:       "data do not get out",
	PowerFault:      "power trouble",
	DaemonFault:     "nestmon itself is in trouble",
	Kindled:         "kits seem to be born",
	Visit:           "the doe came",
	Inspection:      "the nest was opened",
	VisitOverdue:    "no visit of the doe seen",
	BeddingDue:      "bedding due",
	VentilationDue:  "ventilation due",
	SeasonSetupDue:  "season's bedding and lining due",
	BoxDue:          "nest box due",
	InspectDue:      "inspection due",
	TurnBoxDue:      "turn the box",
	RemoveBoxDue:    "take the box out",
	CollectDue:      "collect the kits",
	WeanDue:         "weaning due",
	KindlingOverdue: "kindling overdue",

	CheckPregnancyDue:  "pregnancy check due",
	ConfirmKindlingDue: "kindling to be confirmed",
	RationDue:          "raise the doe's ration",
	HideBoxDue:         "hide box due",
	ReturnBoxDue:       "nest indoors is due back with the doe",
	WaterDue:           "unfrozen water due",
	FlyStrikeDue:       "look for fly strike",
	ResealToteDue:      "seal the tote anew",
}

// Plain says the event in a few plain words.
func (n Name) Plain() string {
	if words := plain[n]; words != "" {
		return words
	}
	return string(n)
}

// Chore reports whether the event asks for husbandry on a date rather than for help now.
func (n Name) Chore() bool {
	switch n {
	case BeddingDue, VentilationDue, SeasonSetupDue, BoxDue, InspectDue, TurnBoxDue, RemoveBoxDue, CollectDue, WeanDue, KindlingOverdue,
		CheckPregnancyDue, ConfirmKindlingDue, RationDue, HideBoxDue, ReturnBoxDue, WaterDue, FlyStrikeDue, ResealToteDue:
		return true
	}
	return false
}

// Severity orders alarms by how soon a person is needed.
type Severity uint8

// The severities, from nothing to wake up now.
const (
	None    Severity = iota
	Notice           // when convenient
	Warning          // today, soon
	Urgent           // now, also at night
)

var severityNames = [...]string{None: "none", Notice: "notice", Warning: "warning", Urgent: "urgent"}

// String returns none, notice, warning or urgent.
func (s Severity) String() string { return severityNames[s] }

// MarshalText writes the name.
func (s Severity) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText reads the name.
func (s *Severity) UnmarshalText(b []byte) error {
	for i, name := range severityNames {
		if name == string(b) {
			*s = Severity(i)
			return nil
		}
	}
	return fmt.Errorf("severity %q is unknown; write one of: none, notice, warning, urgent", b)
}

// State is what an event says happened.
type State string

// The states of an event.
const (
	Raised  State = "raised"  // it began, or its severity rose
	Cleared State = "cleared" // it ended
	Noted   State = "noted"   // it happened and has no duration
)

// Event is one change, the line of an events file.
type Event struct {
	Time     time.Time // when the state changed, after the rule's delay
	Since    time.Time // when the condition began
	Nest     string    // "" for the whole site
	Name     Name
	State    State
	Severity Severity // for Cleared, the severity that ended
	Value    float64  // what the rule compared; valid where HasValue
	Limit    float64  // valid where HasLimit
	HasValue bool
	HasLimit bool
	Unit     string // C, %, ppm, h, g/m3, or empty
	Probe    string // the deciding probe, or empty
	Text     string // which nest, what is wrong, value and limit, what to do
	Rule     string // what was compared with what, and for how long; empty in events of older releases
	Source   string // where the limit comes from; as Rule
}

type eventJSON struct {
	Time     time.Time `json:"time"`
	Nest     *string   `json:"nest"`
	Event    Name      `json:"event"`
	State    State     `json:"state"`
	Severity Severity  `json:"severity"`
	Value    *float64  `json:"value"`
	Limit    *float64  `json:"limit"`
	Unit     *string   `json:"unit"`
	Probe    *string   `json:"probe"`
	Text     string    `json:"text"`
	Since    time.Time `json:"since"`
	Rule     *string   `json:"rule"`
	Source   *string   `json:"source"`
}

// MarshalJSON writes the event as one object of an events file; absent fields are null.
func (e Event) MarshalJSON() ([]byte, error) {
	j := eventJSON{Time: e.Time, Event: e.Name, State: e.State, Severity: e.Severity, Text: e.Text, Since: e.Since}
	j.Nest, j.Unit, j.Probe, j.Rule, j.Source = optional(e.Nest), optional(e.Unit), optional(e.Probe), optional(e.Rule), optional(e.Source)
	if e.HasValue {
		j.Value = &e.Value
	}
	if e.HasLimit {
		j.Limit = &e.Limit
	}
	return json.Marshal(j)
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (e *Event) UnmarshalJSON(b []byte) error {
	var j eventJSON
	if err := json.Unmarshal(b, &j); err != nil {
		return err
	}
	*e = Event{Time: j.Time, Since: j.Since, Name: j.Event, State: j.State, Severity: j.Severity, Text: j.Text}
	for _, f := range [...]struct {
		to   *string
		from *string
	}{{&e.Nest, j.Nest}, {&e.Unit, j.Unit}, {&e.Probe, j.Probe}, {&e.Rule, j.Rule}, {&e.Source, j.Source}} {
		if f.from != nil {
			*f.to = *f.from
		}
	}
	if j.Value != nil {
		e.Value, e.HasValue = *j.Value, true
	}
	if j.Limit != nil {
		e.Limit, e.HasLimit = *j.Limit, true
	}
	return nil
}

func optional(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}
