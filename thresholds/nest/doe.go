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
	nightFrom      = 21  // o'clock, local
	nightUntil     = 6   // o'clock, local
	unusedStep     = 1.1 // of the index: the classes are 1.1 apart, and a doe not used to heat is judged one class lower
	doeDelay       = 20 * time.Minute
	doeUrgentDelay = 10 * time.Minute
	doeColdDelay   = 60 * time.Minute
)

// does is what the last weeks' weather says of how much heat the does are used to.
type does struct {
	until    time.Time // the next local midnight
	highest  float64   // °C today
	any      bool
	cool     int  // days in a row that stayed cool, before the first hot day
	hotDays  int  // hot days since then
	unused   bool // not used to heat
	relief   time.Duration
	relieved bool // the last night gave them rest
	nights   int  // nights seen whole
	last     time.Duration
}

func (d *does) step(n *Now, loc *time.Location, out, rh *Channel) {
	if out == nil {
		return
	}
	if !n.Wall.Before(d.until) {
		d.newDay(n, loc)
	}
	elapsed := n.Mono - d.last
	d.last = n.Mono
	if !out.Fresh(n) {
		return
	}
	if v := out.value; !d.any || v > d.highest {
		d.highest, d.any = v, true
	}
	if h := n.Wall.In(loc).Hour(); (h >= nightFrom || h < nightUntil) && index(n, out, rh) < brood.NightReliefTHI {
		d.relief += min(elapsed, time.Hour)
	}
	if n.Wall.In(loc).Hour() == nightUntil {
		d.relieved = d.relief >= brood.NightReliefTime
	}
	if n.Wall.In(loc).Hour() == nightFrom-1 {
		d.relief = 0
	}
}

func (d *does) newDay(n *Now, loc *time.Location) {
	if d.any {
		d.close(d.highest)
		d.nights++
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
	warn, crit, dry := air.ModerateTHI, air.VerySevereTHI, brood.DoeUrgentDryBulb
	unused := d.unused || d.cool >= brood.UnacclimatedAfterDays && t.value > brood.UnacclimatedAbove
	if unused {
		warn, crit, dry = warn-unusedStep, air.SevereTHI, brood.UnacclimatedUrgentDryBulb
	}
	if d.nights > 0 && !d.relieved {
		crit = min(crit, air.SevereTHI)
	}
	classed := t.value >= air.ClassedFrom
	l.warn.step(n, classed && (thi > warn || t.value > dry), thi < warn-brood.Deadband && t.value < dry-brood.Deadband, t.count, doeDelay)
	l.crit.step(n, classed && (thi > crit || t.value > dry), thi < crit-brood.Deadband && t.value < dry-brood.Deadband, t.count, doeUrgentDelay)
	c := alarm.Condition{Value: round2(thi), Limit: warn, HasValue: true, HasLimit: true, Probe: t.Probe} // an index has no unit
	switch {
	case l.crit.on:
		c.Severity, c.Since, c.Limit, c.Why = alarm.Urgent, l.crit.sinceWall, crit, whyIndex
		if thi <= crit {
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
