package main

import (
	"fmt"
	"io"
	"time"
)

// sinkNews is what status says of a sink beside whether it works.
type sinkNews struct {
	Refused    uint64     `json:"refused"`
	RefusedWhy *string    `json:"refused_why"`
	Pruned     uint64     `json:"pruned"`
	Backfill   *againView `json:"backfill"`
}

type againView struct {
	From    time.Time  `json:"from"`
	To      time.Time  `json:"to"`
	Polls   int64      `json:"polls"`
	Sent    int64      `json:"sent"`
	Refused int64      `json:"refused"`
	Ended   *time.Time `json:"ended"`
	Stopped bool       `json:"stopped"`
}

func (n sinkNews) write(out io.Writer, sink string, now time.Time, loc *time.Location) {
	if n.Refused > 0 && n.RefusedWhy != nil {
		fmt.Fprintf(out, "refused  %s: %d for good, the last because: %s\n", sink, n.Refused, *n.RefusedWhy)
	}
	if n.Pruned > 0 {
		fmt.Fprintf(out, "lost     %s: %d polls grew too old before they were sent\n", sink, n.Pruned)
	}
	b := n.Backfill
	if b == nil || b.Ended != nil && now.Sub(*b.Ended) > newsFor {
		return
	}
	at := func(t time.Time) string { return t.In(loc).Format("2006-01-02 15:04") }
	how := "goes on"
	switch {
	case b.Ended != nil && b.Stopped:
		how = "stopped " + at(*b.Ended)
	case b.Ended != nil:
		how = "done " + at(*b.Ended)
	case b.Sent == b.Polls:
		how = "waits a minute or two to be sure that it is kept"
	}
	fmt.Fprintf(out, "again    %s: %d of %d polls of %s to %s, %d readings refused, %s\n", sink, b.Sent, b.Polls, at(b.From), at(b.To), b.Refused, how)
}
