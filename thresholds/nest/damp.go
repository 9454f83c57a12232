package nest

import (
	"math"
	"time"

	"nestmon/thresholds/air"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// Numbers of moisture and ventilation. Those without a name beside them were found on simulated nests; ours, no source.
const (
	moistureAbove    = 10.0   // °C of nest air: colder air holds too little water to say anything
	moistureBelow    = 98.0   // % RH: above it the probe is wet itself
	moistureBase     = 2.5    // g/m³ a dry nest is wetter than outside
	moisturePerKg    = 2.0    // g/m³ more for each kg of kits
	moistureSum      = 36.0   // g·h/m³ above that is evidence
	moistureMax      = 72.0   // g·h/m³ kept at most
	co2PerKg         = 1.03e3 // ppm·m³/h breathed out by a kg of kits: 7.2 W/kg at 143 L/h per kW (CIGR E-Journal, Pedersen and others)
	co2Flow          = 0.13   // m³/h through the nest: less is a blocked vent
	co2High          = 6000   // ppm over outside, three-hour mean
	co2Outside       = 420.0  // ppm in clean air, from memory
	co2Minutes       = 180.0  // smoothing
	co2Back          = 0.8    // of co2High ends it
	co2Delay         = 10 * time.Minute
	flowBack         = 1.3 // of co2Flow ends it
	flowDelay        = 2 * time.Hour
	boxWetDelay      = time.Hour
	humidityDeadband = 5.0 // % RH
)

var co2Weight = perMinute(co2Minutes)

// damp follows water and used air in the nest.
type damp struct {
	excess float64 // g/m³ in the nest over outside; valid where known
	known  bool
	index  float64 // g·h/m³ gathered above what a dry nest shows
	co2    ewma    // ppm over outside
	flow   dwell
	stuffy dwell
	humid  dwell
	wet    dwell
}

func (d *damp) step(w *Watch, n *Now) {
	d.known = false
	if w.co2.Fresh(n) {
		d.co2.push(max(w.co2.value-co2Outside, 0), co2Weight)
	} else {
		d.co2 = ewma{}
	}
	s := w.site
	if !w.air.Fresh(n) || !w.airRH.Fresh(n) || !s.air.Fresh(n) || !s.rh.Fresh(n) {
		return
	}
	if w.air.value <= moistureAbove || w.airRH.value >= moistureBelow {
		return
	}
	d.known = true
	d.excess = air.AbsoluteHumidity(w.air.value, w.airRH.value) - air.AbsoluteHumidity(s.air.value, s.rh.value)
	limit := moistureBase
	if w.hasKits() {
		limit += moisturePerKg * float64(w.kits()) * brood.KitMass(float64(w.days.age))
	}
	d.index = min(max(d.index+(d.excess-limit)/60, 0), moistureMax)
}

// ventilationDue needs a CO2 probe, or humidity inside and outside in air above about 10 °C. CO2 is evidence, never more than a warning.
func (w *Watch) ventilationDue(n *Now) alarm.Condition {
	d := &w.damp
	if w.co2 == nil && w.airRH == nil {
		return alarm.Condition{}
	}
	if c, known := w.stuffy(n); known {
		if c.Severity != alarm.None {
			return c
		}
	} else if w.co2 != nil && !d.known {
		return alarm.Condition{Hold: true}
	}
	if w.airRH == nil {
		return alarm.Condition{}
	}
	if !w.air.Fresh(n) || !w.airRH.Fresh(n) {
		d.humid.lost(n)
		return alarm.Condition{Hold: true}
	}
	warm := w.air.value > brood.BoxWetAir
	d.humid.step(n, w.box() && warm && w.airRH.value > brood.BoxWet, !warm || w.airRH.value < brood.BoxWet-humidityDeadband,
		w.airRH.count, boxWetDelay)
	switch {
	case d.humid.on:
		return alarm.Condition{
			Severity: alarm.Warning, Since: d.humid.sinceWall, Value: w.airRH.value, Limit: brood.BoxWet, HasValue: true, HasLimit: true,
			Unit: "%", Probe: w.airRH.Probe, Why: whyHumid,
		}
	case d.index >= moistureSum:
		return alarm.Condition{
			Severity: alarm.Notice, Since: n.Wall, Value: round2(d.excess), HasValue: d.known, Limit: moistureBase, HasLimit: true,
			Unit: "g/m3", Probe: w.airRH.Probe, Why: whyMoist,
		}
	case !d.known && d.index > 0:
		return alarm.Condition{Hold: true}
	}
	return alarm.Condition{}
}

// stuffy judges the kits' own CO2: known is false while there is nothing to judge by.
func (w *Watch) stuffy(n *Now) (c alarm.Condition, known bool) {
	d := &w.damp
	if w.co2 == nil || !d.co2.ok {
		d.flow.lost(n)
		d.stuffy.lost(n)
		return c, false
	}
	high := d.co2.value
	d.stuffy.step(n, high > co2High, high < co2Back*co2High, w.co2.count, co2Delay)
	if w.hasKits() {
		// Carbon dioxide balance of animal houses (CIGR, Pedersen and others): what the kits breathe out over what stays.
		through := co2PerKg * float64(w.kits()) * brood.KitMass(float64(w.days.age)) / max(high, 1)
		d.flow.step(n, through < co2Flow, through > flowBack*co2Flow, w.co2.count, flowDelay)
	} else {
		d.flow = dwell{}
	}
	on := &d.stuffy
	if d.flow.on {
		on = &d.flow
	}
	if on.on {
		c = alarm.Condition{
			Severity: alarm.Warning, Since: on.sinceWall, Value: math.Round(high + co2Outside), Limit: co2High + co2Outside,
			HasValue: true, HasLimit: true, Unit: "ppm", Probe: w.co2.Probe, Why: whyCO2,
		}
	}
	return c, true
}

// toteWet needs the humidity in a buried tote. Up to 95 % is what a burrow is like.
func (w *Watch) toteWet(n *Now) alarm.Condition {
	if w.box() || w.airRH == nil {
		return alarm.Condition{}
	}
	if !w.airRH.Fresh(n) {
		w.damp.wet.lost(n)
		return alarm.Condition{Hold: true}
	}
	rh := w.airRH.value
	w.damp.wet.step(n, rh > brood.ToteWet, rh < brood.ToteWet-humidityDeadband, w.airRH.count, brood.ToteWetTime)
	if !w.damp.wet.on {
		return alarm.Condition{}
	}
	return alarm.Condition{
		Severity: alarm.Warning, Since: w.damp.wet.sinceWall, Value: rh, Limit: brood.ToteWet, HasValue: true, HasLimit: true, Unit: "%", Probe: w.airRH.Probe,
	}
}

// beddingDue needs the litter book: days 14 and 21 and every third day after. Moisture is told as evidence beside it, for wet
// bedding cannot be read from nest air alone.
func (w *Watch) beddingDue(_ *Now) alarm.Condition {
	if !w.hasKits() {
		return alarm.Condition{}
	}
	day, ok := brood.BeddingDay(w.days.age)
	if !ok {
		return alarm.Condition{}
	}
	due := w.day(day)
	if !w.done[alarm.BeddingDue].Before(due) {
		return alarm.Condition{}
	}
	c := alarm.Condition{Severity: alarm.Notice, Since: due, Count: day}
	if w.damp.index >= moistureSum {
		c.Why = whyMoist
	}
	return c
}
