package nest

import (
	"slices"
	"time"

	"nestmon/sensors"
)

// Now is the instant of a step.
type Now struct {
	Wall time.Time     // for dates and words, in the rabbitry's zone
	Mono time.Duration // for every delay; never goes back
}

// Channel is the newest usable value of one quantity of one probe.
type Channel struct {
	Probe    string
	Quantity sensors.Quantity

	stale time.Duration
	known bool          // asked for at least once
	first time.Duration // when that was
	seen  bool          // has had a usable value
	value float64
	wall  time.Time     // of the value
	at    time.Duration // of the value
	count uint64        // usable values so far

	wrong    int           // readings that cannot be true, since the probe was last well for a while
	fault    sensors.Fault // the newest of them
	suspects int           // odd readings in a row
	oddSince time.Duration
	good     int // usable readings since the last that was not
	fray     fray

	restarted bool // nothing usable was read since the daemon began anew
	cut       bool // the line it hangs on answers nothing at all, and has an alarm of its own
}

// Take records a screened reading that arrived now.
func (c *Channel) Take(n *Now, r sensors.Reading) {
	if !c.known {
		c.known, c.first = true, n.Mono
	}
	switch {
	case !r.OK():
		c.good = 0
		c.fault = r.Fault
		c.fray.missed(r.Fault)
		if untrue(r.Fault) && !c.cut {
			c.wrong++
		}
	case r.Suspect:
		if c.suspects == 0 {
			c.oddSince = n.Mono
		}
		c.suspects++
		c.good = 0
	case c.seen && r.Time.Equal(c.wall):
		// A value that its source still holds is no new one, whatever time it bears.
	default:
		if c.good++; c.good >= goodAgain {
			c.wrong = 0
		}
		c.suspects = 0
		at := n.Mono - max(n.Wall.Sub(r.Time), 0)
		if c.seen && at < c.at {
			return // older than what is known
		}
		c.seen, c.restarted, c.value, c.wall, c.at = true, false, r.Value, r.Time, at
		c.count++
		c.fray.came(n.Mono)
	}
}

// odd reports whether the readings have been odd for too long to be a spike.
func (c *Channel) odd(n *Now) bool { return c.suspects > 1 && n.Mono-c.oddSince >= oddFor }

// restart makes the channel wait for its first reading: while nobody asked, no probe was silent. The value of before counts as long as it is young
// enough; else a daemon that never gets beyond its first poll would never judge one.
func (c *Channel) restart() {
	c.known, c.restarted = false, true
	c.wrong, c.suspects, c.good = 0, 0, 0
}

// undecided reports whether nothing is known of the channel since a restart, and it has not been silent for too long yet.
func (c *Channel) undecided(n *Now) bool { return c.restarted && c.silentFor(n) <= c.stale }

// Fresh reports whether the value is young enough to act on.
func (c *Channel) Fresh(n *Now) bool { return c != nil && c.seen && n.Mono-c.at <= c.stale }

// Last returns the newest usable value and when it was measured; zero when there never was one.
func (c *Channel) Last() (float64, time.Time) { return c.value, c.wall }

// silentFor is how long there has been no usable value, counted from the first time one was asked for.
func (c *Channel) silentFor(n *Now) time.Duration {
	switch {
	case !c.known:
		return 0
	case !c.seen:
		return n.Mono - c.first
	}
	return n.Mono - max(c.at, c.first)
}

// untrue reports whether a fault means that values arrive but cannot be true, rather than that none arrive.
func untrue(f sensors.Fault) bool {
	switch f {
	case sensors.NoAnswer, sensors.TimedOut, sensors.BusDown, sensors.Settling:
		return false
	}
	return true
}

// Channels holds the channels of all probes.
type Channels struct {
	byProbe map[string]*[len(sensors.Quantities)]*Channel
	last    *[len(sensors.Quantities)]*Channel // a poll names the same probe several times in a row
	lastID  string
}

// NewChannels makes a channel for each quantity of each probe.
func NewChannels(probes []sensors.Probe) *Channels {
	cs := &Channels{byProbe: make(map[string]*[len(sensors.Quantities)]*Channel, len(probes))}
	for _, p := range probes {
		set := new([len(sensors.Quantities)]*Channel)
		for _, q := range p.Quantities {
			set[q] = &Channel{Probe: p.ID, Quantity: q, stale: p.StaleAfter}
		}
		cs.byProbe[p.ID] = set
	}
	return cs
}

// Restart makes every channel wait for its first reading.
func (cs *Channels) Restart() {
	for _, set := range cs.byProbe {
		for _, c := range set {
			if c != nil {
				c.restart()
			}
		}
	}
}

// Cut tells which probes hang on a line that answers nothing at all. What comes of it until it answers again says nothing of the probes:
// one that was well is so still, and one that was at fault too.
func (cs *Channels) Cut(probes []string) {
	for id, set := range cs.byProbe {
		dead := slices.Contains(probes, id)
		for _, c := range set {
			if c == nil {
				continue
			}
			if c.cut && !dead && c.wrong < wrongRun {
				c.wrong = 0
			}
			c.cut = dead
		}
	}
}

// Of returns the channel, or nil when the probe does not measure q.
func (cs *Channels) Of(probe string, q sensors.Quantity) *Channel {
	if set := cs.byProbe[probe]; set != nil {
		return set[q]
	}
	return nil
}

// Take hands a reading to its channel. Readings of probes nobody configured are ignored.
func (cs *Channels) Take(n *Now, r sensors.Reading) {
	if cs.last == nil || cs.lastID != r.Probe {
		set := cs.byProbe[r.Probe]
		if set == nil {
			return
		}
		cs.last, cs.lastID = set, r.Probe
	}
	if c := cs.last[r.Quantity]; c != nil {
		c.Take(n, r)
	}
}
