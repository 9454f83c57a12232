package web

import (
	"time"

	"nestmon/thresholds/alarm"
)

// Preview is what other limits would have raised in the past, or how far it has been worked out.
type Preview struct {
	State    string         `json:"state"`    // one of those below
	Done     float64        `json:"done"`     // the share that is worked out, 0 to 1
	Error    string         `json:"error"`    // why it failed
	Revision int            `json:"revision"` // of the limits in force that it compares with
	Wish     []WishedLimit  `json:"limits"`   // what is looked at
	Result   *PreviewResult `json:"result"`   // null until it is done
}

// States of a preview.
const (
	PreviewNone    = "none"
	PreviewRunning = "running"
	PreviewDone    = "done"
	PreviewStopped = "stopped"
	PreviewFailed  = "failed"
)

// PreviewResult compares the alarms of the limits in force with those of the limits that are looked at.
type PreviewResult struct {
	From   time.Time      `json:"from"`
	To     time.Time      `json:"to"`
	TookS  float64        `json:"took_s"`
	Polls  int            `json:"polls"`
	Nests  []PreviewNest  `json:"nests"`
	Kinds  []PreviewKind  `json:"kinds"`  // by nest and event, those that occurred
	Come   []PreviewSpell `json:"come"`   // would come, the newest Most of them, in order of time
	Go     []PreviewSpell `json:"go"`     // would go
	Differ []PreviewPair  `json:"differ"` // would come at another time or in another severity
	Counts [3]int         `json:"counts"` // of all that come, go and differ
	Most   int            `json:"most"`
}

// PreviewNest is in how many hours a nest was seen and judged.
type PreviewNest struct {
	Nest   string         `json:"nest"`
	Hours  int            `json:"hours"`
	Data   int            `json:"data_h"`
	Judged map[string]int `json:"judged_h"` // by danger: heat, chill, cold
}

// PreviewKind is how often and how long an alarm of a nest would have stood: now, and then.
type PreviewKind struct {
	Nest  string         `json:"nest"` // empty for the site
	Event alarm.Name     `json:"event"`
	Now   PreviewMeasure `json:"now"`
	Then  PreviewMeasure `json:"then"`
}

// PreviewMeasure counts alarms.
type PreviewMeasure struct {
	Alarms int     `json:"alarms"`
	Urgent int     `json:"urgent"` // of them
	Hours  float64 `json:"hours"`
}

// PreviewSpell is one alarm from its beginning to its end.
type PreviewSpell struct {
	Nest     string         `json:"nest"`
	Event    alarm.Name     `json:"event"`
	Severity alarm.Severity `json:"severity"` // the highest
	From     time.Time      `json:"from"`
	To       *time.Time     `json:"to"`    // null where it stood at the end
	Value    *float64       `json:"value"` // as it was raised, or grew worse
	Limit    *float64       `json:"limit"`
	Unit     string         `json:"unit"`
}

// PreviewPair is the same alarm by both.
type PreviewPair struct {
	Now  PreviewSpell `json:"now"`
	Then PreviewSpell `json:"then"`
}
