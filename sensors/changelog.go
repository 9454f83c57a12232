package sensors

import (
	"log/slog"
	"time"
)

// A probe that comes and goes with every poll, by a loose plug or by nonsense among its messages, would fill the log of a year. Ours, no source: enough lines
// an hour to see what it does.
const (
	chattyFor   = time.Hour
	chattyLines = 6
)

// ChangeLog tells a source's log of the first fault of each probe, of each change of reason, and of the recovery with the
// number of attempts, but not of every attempt: a probe that is out for a night is two lines. One that comes and goes has some lines an hour; what
// it does at the end is told when the hour is over. It is used by one goroutine.
type ChangeLog struct {
	log  *slog.Logger
	last map[channel]*course
}

type channel struct {
	probe    string
	quantity Quantity
}

// course is how a channel does; no fault is that it is well.
type course struct {
	fault Fault
	said  Fault // as the log has it
	tries int   // that failed since the log had it well

	since time.Time // of the hour in which lines are counted
	lines int
	left  int // changes that were left out
}

// NewChangeLog makes a ChangeLog that writes to log.
func NewChangeLog(log *slog.Logger) *ChangeLog {
	return &ChangeLog{log: log, last: make(map[channel]*course)}
}

// Note takes each reading of a source, with the cause where it holds a fault.
func (c *ChangeLog) Note(r Reading, cause error) {
	key := channel{r.Probe, r.Quantity}
	now := c.last[key]
	if now == nil {
		now = &course{}
		c.last[key] = now
	}
	changed := now.fault != r.Fault
	now.fault = r.Fault
	if !r.OK() {
		now.tries++
	}
	switch {
	case now.said == now.fault:
	case now.may(r.Time):
		c.tell(r, now, cause)
	case changed:
		now.left++
	}
	if r.OK() && now.said == "" {
		now.tries = 0
	}
}

// may counts a line, where there is room for one.
func (now *course) may(at time.Time) bool {
	if past := at.Sub(now.since); past >= chattyFor || past < 0 {
		now.since, now.lines = at, 0
	}
	if now.lines == chattyLines {
		return false
	}
	now.lines++
	return true
}

func (c *ChangeLog) tell(r Reading, now *course, cause error) {
	log := c.log.With("probe", r.Probe, "quantity", r.Quantity.String())
	if now.left > 0 {
		log = log.With("changes_left_out", now.left)
	}
	if r.OK() {
		log.Info("probe is back", "after_attempts", now.tries)
	} else {
		log.Warn("probe gives no value", "fault", string(r.Fault), "err", cause)
	}
	now.said, now.left = now.fault, 0
}
