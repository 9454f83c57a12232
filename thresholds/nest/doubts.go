package nest

import (
	"math"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/air"
	"nestmon/thresholds/alarm"
)

// Doubt is one reason not to trust a probe.
type Doubt string

// The doubts, by how much they take away.
const (
	DoubtSilent   Doubt = "silent"   // no usable value
	DoubtFault    Doubt = "fault"    // values that cannot be true
	DoubtOdd      Doubt = "odd"      // values that jump, or stand still while the nest moves
	DoubtSwapped  Doubt = "swapped"  // it seems to hang where another should
	DoubtScale    Doubt = "scale"    // its scale has run away from that of the probes beside it
	DoubtDrifting Doubt = "drifting" // its scale has crept away from that of its pair
	DoubtWet      Doubt = "wet"      // its humidity is held at saturation by water on the chip
	DoubtFailing  Doubt = "failing"  // it misses more and more readings
)

// Doubts lists every doubt.
var Doubts = []Doubt{DoubtSilent, DoubtFault, DoubtOdd, DoubtSwapped, DoubtScale, DoubtDrifting, DoubtWet, DoubtFailing}

// Numbers of a connection that is going; ours, no source. That a failing cable shows first by a rising share of errors is common practice.
// Of 480 simulated cluster probes it called 39 of the 39 that miss one reading in twenty, and 1 of the 441 others, a stuck one.
const (
	frayFade    = 6 * time.Hour // after it a reading counts a third
	frayLeast   = 240.0         // readings that must be remembered before a share says anything
	frayRun     = 4             // of the readings missed in a row that count: a longer gap is one plug pulled, or the bus
	frayFrom    = 0.03          // share missed that makes a connection doubtful: one simulated probe in 20 s flakiness misses 0.05
	frayUntil   = 0.01
	frayWarning = 0.25
)

// fray is how often a channel misses a few readings and comes back.
type fray struct {
	at         time.Duration
	good, lost float64 // readings, faded
	run        int     // missed since the last usable one
	on         bool
}

// missed takes a reading without a usable value; ok is false for one that says nothing of this probe's own connection.
func (f *fray) missed(fault sensors.Fault) {
	switch fault {
	case sensors.TimedOut, sensors.BusDown, sensors.Settling:
	default:
		f.run = min(f.run+1, frayRun)
	}
}

// came takes a usable reading.
func (f *fray) came(now time.Duration) {
	fade := math.Exp(-max(now-f.at, 0).Seconds() / frayFade.Seconds())
	f.good, f.lost = f.good*fade+1, f.lost*fade+float64(f.run)
	f.at, f.run = now, 0
	switch share := f.share(); {
	case f.good+f.lost < frayLeast:
	case share >= frayFrom:
		f.on = true
	case share < frayUntil:
		f.on = false
	}
}

func (f *fray) share() float64 { return f.lost / max(f.good+f.lost, 1) }

// Numbers of a humidity sensor that is wet; ours, no source. In 192 simulated boxes with dry sensors it was called wet once, behind a vent
// blocked for days in summer. In cold weather, where air holds little water, it finds nothing. That condensed water holds a sensor at saturation
// until it has dried is common practice.
const (
	wetFrom  = sensors.Saturated // % RH; a negative offset leaves such values alone
	wetUntil = 97.0              // % RH, corrected: with a negative offset a wet cell that dries is believed a little earlier
	wetRoom  = 9.0               // g/m³ that nest air could hold beyond what the air outside brings: no box of kits gives off so much
	wetTime  = 12 * 60           // min without a break at saturation
	wetDry   = 3 * 60            // min of them in which nest air had that room
)

// wetCell tells air that is saturated from a humidity sensor with water on it.
type wetCell struct {
	full, dry int // min
	since     time.Time
	on        bool
}

func (c *wetCell) step(w *Watch, n *Now) {
	if !w.box() || !w.airRH.Fresh(n) {
		return // the air of a tote may be saturated for weeks
	}
	if w.airRH.value < wetUntil {
		*c = wetCell{}
		return
	}
	if w.airRH.value < wetFrom && !c.on {
		c.full, c.dry = 0, 0
		return
	}
	if c.full++; c.full == 1 {
		c.since = n.Wall
	}
	if out := w.site; w.air.Fresh(n) && out.air.Fresh(n) && out.rh.Fresh(n) &&
		air.AbsoluteHumidity(w.air.value, 100)-air.AbsoluteHumidity(out.air.value, out.rh.value) >= wetRoom {
		c.dry++
	}
	c.on = c.on || c.full >= wetTime && c.dry >= wetDry
}

// doubts adds what makes a probe doubtful although its values may be true: it is told of, and alarms nobody at night.
func (w *Watch) doubts(n *Now, c *alarm.Condition) {
	if c.Count > 0 {
		return
	}
	if w.wet.on {
		c.Count, c.Why, c.Probe, c.Severity, c.Since = 1, whyWetCell, w.airRH.Probe, alarm.Notice, w.wet.since
		c.Value, c.Limit, c.HasValue, c.HasLimit, c.Unit = round2(w.airRH.value), wetFrom, true, true, "%"
		return
	}
	failing(n, &w.lost.frays, c, func(visit func(*Channel)) {
		w.Places(func(_ Role, ch *Channel) { visit(ch) })
	})
	w.learned.drift.condition(w, c)
}

// failing adds the connections that are going; the worst of them is told of.
func failing(n *Now, lasts *level, c *alarm.Condition, channels func(visit func(*Channel))) {
	channels(func(ch *Channel) { ch.failing(c) })
	if lasts.step(n, c.Count > 0); c.Count > 0 {
		c.Since = lasts.since
	}
}

func (c *Channel) failing(to *alarm.Condition) {
	share := round2(100 * c.fray.share())
	if !c.fray.on || to.Count > 0 && share <= to.Value {
		return
	}
	to.Count, to.Why, to.Probe, to.Severity = to.Count+1, whyFailing, c.Probe, alarm.Notice
	if share >= 100*frayWarning {
		to.Severity = alarm.Warning
	}
	to.Value, to.Limit, to.HasValue, to.HasLimit, to.Unit = share, 100*frayFrom, true, true, "%"
}

// Doubts tells of each probe of the nest what makes it doubtful.
func (w *Watch) Doubts(n *Now, say func(probe string, d Doubt)) {
	w.Places(func(_ Role, c *Channel) { c.doubts(n, say) })
	w.learned.health.doubts(w, say)
	w.learned.drift.doubts(w, say)
	if w.wet.on {
		say(w.airRH.Probe, DoubtWet)
	}
}

// Doubts tells the same of the probe outside.
func (s *Site) Doubts(n *Now, say func(probe string, d Doubt)) {
	s.vital(func(c *Channel) { c.doubts(n, say) })
}

func (c *Channel) doubts(n *Now, say func(probe string, d Doubt)) {
	if c.silentFor(n) > c.stale {
		say(c.Probe, DoubtSilent)
	}
	if c.wrong >= wrongRun {
		say(c.Probe, DoubtFault)
	}
	if c.odd(n) {
		say(c.Probe, DoubtOdd)
	}
	if c.fray.on {
		say(c.Probe, DoubtFailing)
	}
}

// doubts tells what the probes say of each other.
func (h *health) doubts(w *Watch, say func(probe string, d Doubt)) {
	for i, c := range w.cluster[:min(len(w.cluster), len(h.told))] {
		if h.told[i] == swapped || h.turned[i] {
			say(c.Probe, DoubtSwapped)
		}
		if h.turned[i] {
			say(w.air.Probe, DoubtSwapped)
		}
		if h.told[i] == tooCold || h.over[i] {
			say(c.Probe, DoubtScale)
		}
	}
	if h.lowAir {
		say(w.air.Probe, DoubtScale)
	}
}
