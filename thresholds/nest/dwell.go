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
	backFirst uint64 // the channel's count then: no end on one sample either
	unseen    bool   // there is no value to judge
	unseenAt  time.Duration
}

// step takes whether the value is beyond its limit and whether it is back past the deadband.
func (d *dwell) step(n *Now, beyond, back bool, count uint64, delay time.Duration) bool {
	d.seenAgain(n, delay)
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
		d.returning, d.backSince, d.backFirst = true, n.Mono, count
	}
	if n.Mono-d.backSince >= settleTime && count > d.backFirst {
		*d = dwell{}
	}
	return d.on
}

// lost says that there is no value. What is on stays on, and a delay that is running stops: a probe that drops out again and again
// must not keep its alarm from ever being raised.
func (d *dwell) lost(n *Now) {
	d.returning = false
	if d.past && !d.unseen {
		d.unseen, d.unseenAt = true, n.Mono
	}
}

// seenAgain lets a stopped delay run on where it stopped, unless nothing was seen for longer than the delay itself.
func (d *dwell) seenAgain(n *Now, delay time.Duration) {
	if !d.unseen {
		return
	}
	d.unseen = false
	switch gap := n.Mono - d.unseenAt; {
	case d.on:
	case gap > delay:
		*d = dwell{}
	default:
		d.since += gap
	}
}
