package nest

import "time"

// settleTime is how long a value must stay on the good side of its deadband before an alarm ends; ours, no source.
const settleTime = 2 * time.Minute

// dwell is one limit with its delay: on when the limit has been passed for long enough by more than one sample, off when
// the value has come back past the deadband and stayed there.
type dwell struct {
	past      bool          // beyond the limit, or not yet back past the deadband
	since     time.Duration // when it went past
	sinceWall time.Time
	first     uint64 // the channel's count then: no alarm on one sample
	on        bool
	returning bool
	backSince time.Duration
}

// step takes whether the value is beyond its limit and whether it is back past the deadband.
func (d *dwell) step(n *Now, beyond, back bool, count uint64, delay time.Duration) bool {
	if beyond {
		d.returning = false
		if !d.past {
			d.past, d.since, d.sinceWall, d.first = true, n.Mono, n.Wall, count
		}
		if !d.on && n.Mono-d.since >= delay && count > d.first {
			d.on = true
		}
		return d.on
	}
	if !back || !d.past {
		return d.on
	}
	if !d.on {
		d.past = false
		return false
	}
	if !d.returning {
		d.returning, d.backSince = true, n.Mono
	}
	if n.Mono-d.backSince >= settleTime {
		*d = dwell{}
	}
	return d.on
}

// lost forgets a delay that is running: what happened while nothing was seen is not known. What is on stays on.
func (d *dwell) lost() {
	if !d.on {
		*d = dwell{}
	}
}
