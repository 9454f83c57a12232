package exporter

import (
	"fmt"
	"time"
)

// PartlyRefused is the error of a Deliver in which the other side keeps everything but these. It is final: another try
// cannot help what was refused and is not needed for the rest.
type PartlyRefused struct {
	Polls []RefusedPoll
}

// RefusedPoll is the refused part of a poll: only the readings the other side would not take.
type RefusedPoll struct {
	StoredPoll
	Reason string
}

// Error names the first reason.
func (p *PartlyRefused) Error() string {
	if len(p.Polls) == 0 {
		return "nothing refused"
	}
	return fmt.Sprintf("%d refused, the first because: %s", len(p.Polls), p.Polls[0].Reason)
}

// Refusal is what a sink refused for good, in a row and for one reason.
type Refusal struct {
	Sink     string    `json:"sink"`
	Reason   string    `json:"reason"`
	From     time.Time `json:"from"` // of its first poll and its last
	To       time.Time `json:"to"`
	Polls    int64     `json:"polls"`
	Readings int64     `json:"readings"`
	Series   []string  `json:"series"` // "PROBE QUANTITY", sorted
	Seen     time.Time `json:"seen"`   // when the last of it was refused
}
