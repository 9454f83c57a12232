package book

import (
	"slices"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// Entry is one thing that was written down.
type Entry struct {
	ID     int64     `json:"id"`               // its number in the book, from 1
	Litter int64     `json:"litter,omitempty"` // the litter's number; 0 where it is about a nest or the site alone
	What   What      `json:"what"`
	At     time.Time `json:"at"`            // when it happened
	Day    bool      `json:"day,omitempty"` // only the day is known; At is its local midnight
	Nest   string    `json:"nest,omitempty"`
	To     string    `json:"to,omitempty"`   // the nest or cage it went to
	With   int64     `json:"with,omitempty"` // the other litter of a fostering

	Doe  string `json:"doe,omitempty"`
	Buck string `json:"buck,omitempty"`

	Kits  *int    `json:"kits,omitempty"` // alive, or how many it is about; nil where nobody counted
	Dead  *int    `json:"dead,omitempty"` // born dead
	Cause Cause   `json:"cause,omitempty"`
	Found Found   `json:"found,omitempty"` // what palpation found
	Grams float64 `json:"grams,omitempty"` // of Kits together; of one where Kits is nil

	Bedding string       `json:"bedding,omitempty"`
	Depth   float64      `json:"depth,omitempty"` // cm of bedding
	Kind    brood.Kind   `json:"kind,omitempty"`  // of the nest, as it was then
	Season  brood.Season `json:"season,omitempty"`
	Chore   alarm.Name   `json:"chore,omitempty"`
	Note    string       `json:"note,omitempty"`

	By       string    `json:"by,omitempty"`
	Entered  time.Time `json:"entered"`            // when it was written down
	Replaces int64     `json:"replaces,omitempty"` // the earlier entry that no longer counts
}

// What says what kind of thing happened.
type What string

// What can happen. In this order within one day.
const (
	Bred         What = "bred"
	Palpated     What = "palpated"
	BoxIn        What = "box-in"
	Kindled      What = "kindled"
	FosteredIn   What = "fostered-in"
	Lost         What = "lost"
	FosteredOut  What = "fostered-out"
	Weighed      What = "weighed"
	Moved        What = "moved"
	Collected    What = "collected"
	Weaned       What = "weaned"
	Sold         What = "sold"
	Kept         What = "kept"
	Ended        What = "ended" // the kits are gone in another way
	DidNotKindle What = "did-not-kindle"
	CarriedIn    What = "carried-in" // the nest, indoors for the night
	CarriedOut   What = "carried-out"
	Did          What = "did" // a chore
	Noted        What = "noted"
	Struck       What = "struck" // takes back what it replaces
)

// Whats lists them in the order of a litter's life.
var Whats = []What{
	Bred, Palpated, BoxIn, Kindled, FosteredIn, Lost, FosteredOut, Weighed, Moved, Collected, Weaned, Sold, Kept, Ended, DidNotKindle,
	CarriedIn, CarriedOut, Did, Noted, Struck,
}

// Cause is why kits were lost, as far as somebody could tell by looking.
type Cause string

// The causes.
const (
	Chilled    Cause = "chilled"
	Overheated Cause = "overheated"
	DraggedOut Cause = "dragged-out"
	Crushed    Cause = "crushed"
	Unfed      Cause = "unfed"
	Other      Cause = "other"
	NotKnown   Cause = "not-known" // nobody could tell
)

// Causes lists them.
var Causes = []Cause{Chilled, Overheated, DraggedOut, Crushed, Unfed, Other, NotKnown}

// Found is what palpation found.
type Found string

// The findings.
const (
	Pregnant    Found = "pregnant"
	NotPregnant Found = "not-pregnant"
	Unsure      Found = "unsure"
)

// Findings lists them.
var Findings = []Found{Pregnant, NotPregnant, Unsure}

// does is the chore that an entry shows to be done.
var does = map[What]alarm.Name{
	Palpated: alarm.CheckPregnancyDue, BoxIn: alarm.BoxDue, Collected: alarm.CollectDue, Weaned: alarm.WeanDue, Kindled: alarm.KindlingOverdue,
}

// looks are what nobody can write down by the hour who has not looked in.
var looks = []What{Palpated, FosteredIn, Lost, FosteredOut, Weighed}

// Done is the chores that the entry by itself shows to be done. A loss of which only the day is known shows no look: it may have been found at any
// hour of it.
func (e Entry) Done() (out []alarm.Name) {
	if e.What == Did {
		return []alarm.Name{e.Chore}
	}
	if chore := does[e.What]; chore != "" {
		out = append(out, chore)
	}
	if !e.Day && slices.Contains(looks, e.What) {
		out = append(out, alarm.InspectDue)
	}
	return out
}
