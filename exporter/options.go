package exporter

import (
	"log/slog"
	"time"
)

// Options say how sinks are driven. The zero value is what the daemon uses; a test shortens what it must.
type Options struct {
	Log        *slog.Logger     // nil: nothing is logged
	Now        func() time.Time // stamps what is reported and decides which messages are due; nil: time.Now. Waits, deadlines and ages follow the runtime's clock
	Fatal      func(error)      // called with the third panic of one sink within ten minutes; nil: not reported
	Timeout    time.Duration    // of one call of a sink
	MaxBackOff time.Duration    // the longest wait between two tries, unless the other side asks for more
	Idle       time.Duration    // a pump looks by itself after so long without a Wake
	Batch      int              // polls or messages asked of the store at once
	Settle     time.Duration    // age at which what was acknowledged counts as kept; negative: at once
	Slack      time.Duration    // a pump that is late by more than this is stuck
}

const (
	// callTimeout is far above any healthy answer on a home network and below a poll interval of 30 s; ours, no source.
	callTimeout = 20 * time.Second
	// firstBackOff and the two caps are explained in the package comment.
	firstBackOff       = time.Second
	maxReadingsBackOff = 5 * time.Minute
	maxSoonBackOff     = time.Minute
	// maxRetryAfter caps what the other side may ask for, so that a wrong header cannot silence a sink for days; ours, no source.
	maxRetryAfter = time.Hour
	// idleLook finds messages whose quiet hours ended, and whatever a lost Wake left behind; ours, no source.
	idleLook = 30 * time.Second
	// readingsBatch is polls; readingsAtOnce bounds their readings and with them the memory of a delivery (80 bytes each). Both are some
	// requests of 5,000 lines, what InfluxDB's documentation calls the best batch; ours, no source.
	readingsBatch  = 1000
	readingsAtOnce = 15_000
	// messagesBatch is more than waits in any honest outage; ours, no source.
	messagesBatch = 1000
	// settleAfter: a time-series server in a standard packaging lost acknowledged points up to 7 s old when it was killed and
	// kept those of 15 s (measured by us); a minute leaves room.
	settleAfter = time.Minute
	// stuckSlack leaves room for a card that pauses, a page of weeks of backlog and a busy processor; ours, no source.
	stuckSlack = time.Minute
)

func (o Options) withDefaults(maxBackOff time.Duration, batch int) Options {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Fatal == nil {
		o.Fatal = func(error) {}
	}
	o.Timeout = orDuration(o.Timeout, callTimeout)
	o.MaxBackOff = orDuration(o.MaxBackOff, maxBackOff)
	o.Idle = orDuration(o.Idle, idleLook)
	o.Settle = orDuration(o.Settle, settleAfter)
	o.Slack = orDuration(o.Slack, stuckSlack)
	if o.Batch == 0 {
		o.Batch = batch
	}
	return o
}

func orDuration(d, otherwise time.Duration) time.Duration {
	if d == 0 {
		return otherwise
	}
	return d
}
