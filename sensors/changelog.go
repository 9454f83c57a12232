package sensors

import "log/slog"

// ChangeLog tells a source's log of the first fault of each probe, of each change of reason, and of the recovery with the
// number of attempts, but not of every attempt: a probe that is out for a night is two lines. It is used by one goroutine.
type ChangeLog struct {
	log  *slog.Logger
	last map[channel]*silence
}

type channel struct {
	probe    string
	quantity Quantity
}

type silence struct {
	fault Fault
	tries int
}

// NewChangeLog makes a ChangeLog that writes to log.
func NewChangeLog(log *slog.Logger) *ChangeLog {
	return &ChangeLog{log: log, last: make(map[channel]*silence)}
}

// Note takes each reading of a source, with the cause where it holds a fault.
func (c *ChangeLog) Note(r Reading, cause error) {
	key := channel{r.Probe, r.Quantity}
	was := c.last[key]
	switch {
	case r.OK() && was != nil:
		c.log.Info("probe is back", "probe", r.Probe, "quantity", r.Quantity.String(), "after_attempts", was.tries)
		delete(c.last, key)
	case r.OK():
	case was != nil && was.fault == r.Fault:
		was.tries++
	default:
		c.log.Warn("probe gives no value", "probe", r.Probe, "quantity", r.Quantity.String(), "fault", string(r.Fault), "err", cause)
		tries := 1
		if was != nil {
			tries += was.tries
		}
		c.last[key] = &silence{r.Fault, tries}
	}
}
