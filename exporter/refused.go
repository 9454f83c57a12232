package exporter

import "fmt"

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
