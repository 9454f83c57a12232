package nest

import (
	"cmp"
	"fmt"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/alarm"
)

// LowVolts is the voltage of a 12 V lead-acid battery below which somebody should act: about a quarter is left in one at rest, and below
// 11.8 V nothing (common practice, no source). What stands discharged for days is spoilt, so it comes early.
const LowVolts = 12.0 // V

const lowVoltsSource = "common practice, no source: about a quarter is left in a 12 V lead-acid battery"

// Ours, no source.
const (
	batteryBack  = 0.4              // V above the limit: a battery that recovers when a load is gone is not charged
	batteryDelay = 10 * time.Minute // a pump or a heater that starts pulls the voltage down for less
	batteryHigh  = 1.6              // times the limit: no battery has that, 12 V lead-acid is charged with 15 V at most, so the limit is another's
)

// meterDies is the most an INA219 stands (TI SBOS448, from memory); a battery of 24 V on its charger has more.
const meterDies = 26.0 // V

// battery is what feeds the board.
type battery struct {
	volts, amps *Channel
	low         float64 // V
	drained     dwell
	unfit       dwell // the limit is that of another battery
}

// Power gives the site a battery to watch; probe may name none, and a low of 0 V is LowVolts.
func (s *Site) Power(probe string, low float64, channels *Channels) {
	s.supply = battery{volts: channels.Of(probe, sensors.Voltage), amps: channels.Of(probe, sensors.Current), low: cmp.Or(low, LowVolts)}
}

// Battery visits the channels of the battery.
func (s *Site) Battery(visit func(c *Channel)) {
	for _, c := range []*Channel{s.supply.volts, s.supply.amps} {
		if c != nil {
			visit(c)
		}
	}
}

func (b *battery) measures(probe string) bool { return b.volts != nil && b.volts.Probe == probe }

// also says what a silent channel of the site is about, after as many others.
func (b *battery) also(others int, c *Channel) (why string) {
	switch {
	case c != b.volts:
		return ""
	case others == 0:
		return whyBattery
	}
	return whyBatteryToo
}

// BatteryLow adds a low battery to what else is known of the supply, and to its words. stands is the alarm as it is: after a start nothing
// else may be left of what was known of the battery.
func (s *Site) BatteryLow(n *Now, supply alarm.Condition, text string, stands alarm.Standing) (alarm.Condition, string) {
	b := &s.supply
	switch {
	case b.volts == nil:
		return supply, text
	case !b.volts.Fresh(n):
		b.drained.lost(n)
		b.unfit.lost(n)
		about := b.drained.on || b.unfit.on || b.measures(stands.Probe)
		supply.Hold = supply.Hold || about && supply.Severity == alarm.None
		return supply, text
	}
	low := b.drained.step(n, b.volts.value < b.low, b.volts.value >= b.low+batteryBack, b.volts.count, batteryDelay)
	over := b.volts.value > batteryHigh*b.low
	unfit := b.unfit.step(n, over, !over, b.volts.count, batteryDelay)
	c := alarm.Condition{Value: b.volts.value, HasValue: true, HasLimit: true, Unit: "V", Probe: b.volts.Probe, Count: 1}
	var said string
	switch {
	case low:
		said = b.drainedWords(&c)
	case unfit:
		said = b.unfitWords(&c)
	default:
		return supply, text
	}
	if supply.Severity == alarm.None {
		return c, said
	}
	c.Severity, c.Count = max(c.Severity, supply.Severity), supply.Count+1
	c.Rule, c.Source = supply.Rule+"; "+c.Rule, supply.Source+"; "+c.Source
	if supply.Since.Before(c.Since) {
		c.Since = supply.Since
	}
	return c, text + " " + said
}

func (b *battery) drainedWords(c *alarm.Condition) string {
	c.Severity, c.Since, c.Limit, c.Source = alarm.Warning, b.drained.sinceWall, b.low, lowVoltsSource
	if b.low != LowVolts {
		c.Source = "set in the configuration"
	}
	c.Rule = fmt.Sprintf("battery under %s for %s, until it is back at %s", volts(b.low), lasting(batteryDelay), volts(b.low+batteryBack))
	return "The battery is low, " + under(*c, volts, "") + ". When it is empty the board stops and nobody is told of anything. Charge it, clear snow or shade off the panel, or take load off it."
}

func (b *battery) unfitWords(c *alarm.Condition) string {
	c.Severity, c.Since, c.Limit, c.Source = alarm.Notice, b.unfit.sinceWall, batteryHigh*b.low, "ours, no source"
	c.Rule = fmt.Sprintf("battery over %.1f times its low limit for %s", batteryHigh, lasting(batteryDelay))
	return fmt.Sprintf("The battery has %s and its low limit is %s, which is that of a smaller one: it would be empty long before anybody is told. Write its own limit as battery_low_v, and look what its meter stands: more than %s destroys an INA219.",
		volts(b.volts.value), volts(b.low), volts(meterDies))
}

func volts(v float64) string { return fmt.Sprintf("%.1f V", v) }
