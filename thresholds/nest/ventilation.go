package nest

import (
	"math"
	"time"

	"nestmon/thresholds/air"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// Numbers of used air. Those without a source were found on simulated nests; ours.
const (
	co2PerKg         = 1.03e3 // ppm·m³/h breathed out by a kg of kits: 7.2 W/kg at 143 L/h per kW (CIGR E-Journal, Pedersen and others)
	co2Flow          = 0.13   // m³/h through the nest: less is a blocked vent
	co2High          = 6000   // ppm over outside, three-hour mean
	co2Outside       = 420.0  // ppm in clean air, from memory
	co2Minutes       = 180.0  // smoothing
	co2Back          = 0.8    // of co2High ends it
	co2Delay         = 10 * time.Minute
	flowBack         = 1.3 // of co2Flow ends it
	flowDelay        = 2 * time.Hour
	humidDelay       = 4 * time.Hour // and fresh air would dry the nest
	humidUnsureDelay = time.Hour     // whether it would is not known
	humidDried       = 75.0          // % RH in nest air made of fresh air alone: more and no vent dries it
	humidityDeadband = 5.0           // % RH
)

var co2Weight = perMinute(co2Minutes)

// used follows the kits' own CO2.
type used struct {
	co2    ewma // ppm over outside
	flow   dwell
	stuffy dwell
}

func (u *used) step(w *Watch, n *Now) {
	if !w.co2.Fresh(n) {
		u.co2 = ewma{}
		return
	}
	u.co2.push(max(w.co2.value-co2Outside, 0), co2Weight)
}

// ventilationDue needs a CO2 probe, or humidity in air above 10 °C: inside, and outside to tell a blocked vent from damp weather. CO2 is
// evidence, never more than a warning.
func (w *Watch) ventilationDue(n *Now) alarm.Condition {
	d := &w.damp
	if w.co2 == nil && w.airRH == nil {
		return alarm.Condition{}
	}
	c, known := w.stuffy(n)
	if c.Severity != alarm.None {
		return c
	}
	if w.airRH == nil {
		return alarm.Condition{Hold: !known}
	}
	if !w.dampSeen(n) {
		d.humid.lost(n)
		return alarm.Condition{Hold: true}
	}
	w.humid(n)
	switch {
	case d.humid.on:
		return alarm.Condition{
			Severity: alarm.Warning, Since: d.humid.sinceWall, Value: w.airRH.value, Limit: brood.BoxWet, HasValue: true, HasLimit: true,
			Unit: "%", Probe: w.airRH.Probe, Why: whyHumid,
		}
	case d.moisture.on:
		return alarm.Condition{
			Severity: alarm.Notice, Since: n.Wall, Value: round2(d.moisture.now), Limit: round2(d.moisture.usual + moistRise), HasValue: true, HasLimit: true,
			Unit: "g/m3", Probe: w.airRH.Probe, Why: whyMoist,
		}
	}
	return alarm.Condition{Hold: w.co2 != nil && !known}
}

// humid follows a box's warm and wet air. Where the air outside is as wet, the vents are not to blame.
func (w *Watch) humid(n *Now) {
	d, delay, dries := &w.damp.humid, humidUnsureDelay, true
	if s := w.site; s.air.Fresh(n) && s.rh.Fresh(n) {
		delay = humidDelay
		dries = air.VapourPressure(s.air.value, s.rh.value) < humidDried/100*air.SaturationPressure(w.air.value)
	}
	wet := w.box() && w.air.value > brood.BoxWetAir && w.airRH.value > brood.BoxWet
	over := w.air.value <= brood.BoxWetAir || w.airRH.value < brood.BoxWet-humidityDeadband
	d.step(n, wet && dries, over || !dries && !d.on, w.airRH.count, delay)
}

// stuffy judges the kits' own CO2: known is false while there is nothing to judge by.
func (w *Watch) stuffy(n *Now) (c alarm.Condition, known bool) {
	u := &w.damp.used
	if w.co2 == nil || !u.co2.ok {
		u.flow.lost(n)
		u.stuffy.lost(n)
		return c, false
	}
	high := u.co2.value
	u.stuffy.step(n, high > co2High, high < co2Back*co2High, w.co2.count, co2Delay)
	if w.hasKits() {
		// Carbon dioxide balance of animal houses (CIGR, Pedersen and others): what the kits breathe out over what stays.
		through := co2PerKg * float64(w.kits()) * brood.KitMass(float64(w.days.age)) / max(high, 1)
		u.flow.step(n, through < co2Flow, through > flowBack*co2Flow, w.co2.count, flowDelay)
	} else {
		u.flow = dwell{}
	}
	on := &u.stuffy
	if u.flow.on {
		on = &u.flow
	}
	if on.on {
		c = alarm.Condition{
			Severity: alarm.Warning, Since: on.sinceWall, Value: math.Round(high + co2Outside), Limit: co2High + co2Outside,
			HasValue: true, HasLimit: true, Unit: "ppm", Probe: w.co2.Probe, Why: whyCO2,
		}
	}
	return c, true
}
