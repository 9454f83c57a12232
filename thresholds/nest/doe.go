package nest

import (
	"time"

	"nestmon/thresholds/air"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Numbers of the doe's heat and cold that nobody has published; ours, no source.
const (
	nightFrom      = 21   // o'clock, local
	nightUntil     = 6    // o'clock, local
	nightSeen      = 0.75 // share of the night that must have been seen before it is said to have brought no relief
	classStep      = 1.1  // of the index: the classes are 1.1 apart
	doeDelay       = 20 * time.Minute
	doeUrgentDelay = 10 * time.Minute
	doeColdDelay   = 60 * time.Minute
)

// does is what the last weeks' weather says of how much heat the does are used to.
type does struct {
	until   time.Time // the next local midnight
	highest float64   // °C today
	any     bool
	cool    int  // days in a row that stayed cool, before the first hot day
	hotDays int  // hot days since then
	unused  bool // not used to heat
	last    time.Duration

	night     bool          // it is night
	relief    time.Duration // of this night in which the index was low
	seen      time.Duration // of this night
	sleepless bool          // the last night gave them no rest
}

func (d *does) step(n *Now, loc *time.Location, out, rh *Channel) {
	if out == nil {
		return
	}
	if !n.Wall.Before(d.until) {
		d.newDay(n, loc)
	}
	elapsed := min(n.Mono-d.last, time.Hour)
	d.last = n.Mono
	hour := n.Wall.In(loc).Hour()
	d.turn(hour >= nightFrom || hour < nightUntil)
	if !out.Fresh(n) {
		return
	}
	if v := out.value; !d.any || v > d.highest {
		d.highest, d.any = v, true
	}
	if d.night {
		d.seen += elapsed
		if index(n, out, rh) < brood.NightReliefTHI {
			d.relief += elapsed
		}
	}
}

// turn closes a night at its end. One that gave relief is known as soon as it did; one of which too little was seen changes nothing.
func (d *does) turn(night bool) {
	const whole = (24 - nightFrom + nightUntil) * time.Hour
	switch {
	case night && !d.night:
		d.relief, d.seen = 0, 0
	case !night && d.night && d.relief >= brood.NightReliefTime:
		d.sleepless = false
	case !night && d.night && float64(d.seen) >= nightSeen*float64(whole):
		d.sleepless = true
	}
	d.night = night
}

func (d *does) newDay(n *Now, loc *time.Location) {
	if d.any {
		d.close(d.highest)
	}
	d.any = false
	d.until = litter.NextDay(n.Wall, loc)
}

// close takes a day's highest air outside.
func (d *does) close(highest float64) {
	if highest <= brood.UnacclimatedAbove {
		d.cool++
		return
	}
	if d.cool >= brood.UnacclimatedAfterDays {
		d.unused, d.hotDays = true, 0
	}
	d.cool = 0
	if d.hotDays++; d.hotDays >= brood.UnacclimatedDays {
		d.unused = false
	}
}

// index is the rabbit index of the air, or the dry bulb where humidity is not known: they are equal at 100 %, so the guess is on
// the safe side.
func index(n *Now, t, rh *Channel) float64 {
	if !rh.Fresh(n) {
		return t.value
	}
	return air.THI(t.value, rh.value)
}

// judge compares a doe's air with the classes of the index and with the dry bulb.
func (d *does) judge(n *Now, t, rh *Channel, l *levels) alarm.Condition {
	if !t.Fresh(n) {
		l.lost(n)
		return alarm.Condition{Hold: true}
	}
	thi := index(n, t, rh)
	warn, crit, dry := brood.DoeHeatWarn, brood.DoeHeatUrgent, brood.DoeUrgentDryBulb
	if d.unused || d.cool >= brood.UnacclimatedAfterDays && max(t.value, d.highest) > brood.UnacclimatedAbove {
		warn, crit, dry = warn-classStep, crit-classStep, brood.UnacclimatedUrgentDryBulb
	}
	if d.sleepless {
		crit -= classStep
	}
	classed := t.value >= air.ClassedFrom
	l.warn.step(n, classed && (thi >= warn || t.value >= dry), thi < warn-brood.Deadband && t.value < dry-brood.Deadband, t.count, doeDelay)
	l.crit.step(n, classed && (thi >= crit || t.value >= dry), thi < crit-brood.Deadband && t.value < dry-brood.Deadband, t.count, doeUrgentDelay)
	c := alarm.Condition{Value: round2(thi), Limit: warn, HasValue: true, HasLimit: true, Probe: t.Probe} // an index has no unit
	switch {
	case l.crit.on:
		c.Severity, c.Since, c.Limit, c.Why = alarm.Urgent, l.crit.sinceWall, crit, whyIndex
		if thi < crit {
			c.Value, c.Limit, c.Unit, c.Why = t.value, dry, "C", whyDryBulb
		}
	case l.warn.on:
		c.Severity, c.Since, c.Why = alarm.Warning, l.warn.sinceWall, whyIndex
	}
	if c.Why == whyIndex && !rh.Fresh(n) {
		c.Unit, c.Why = "C", whyNoHumidity // what stands for the index is the dry bulb
	}
	return c
}
