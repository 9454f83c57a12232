package nest

import (
	"math"
	"time"

	"nestmon/thresholds/alarm"
)

// The expectation of heat. The persistence of today's difference from yesterday, 0.9 an hour, and the two margins were
// found on simulated nests; ours.
const (
	forecastStep    = 5                      // min between kept values
	forecastDay     = 24 * 60 / forecastStep // values in a day
	forecastAhead   = 2 * 60 / forecastStep  // values in the two hours looked ahead
	forecastMargin  = 0.5                    // °C under the critical limit counts as reaching it
	forecastClear   = 2.0                    // °C under the critical limit ends it
	forecastNear    = 5.0                    // °C: air further under the critical limit than this is not looked at
	forecastDelay   = 10 * time.Minute       // the expectation must last
	forecastTrend   = 60                     // min of trend used while yesterday is not known
	persistencePerH = 0.9
)

// forecast expects nest air up to two hours ahead, from yesterday's shape, or in the first day from the last hour's trend.
type forecast struct {
	past    [forecastDay]hundredths // °C every five minutes, newest at at
	at      int
	minutes int // since the newest was kept
	days    int // values kept so far, up to a whole day
	limit   dwell
	highest float64
	known   bool
}

func (f *forecast) forget() {
	*f = forecast{limit: f.limit}
	for i := range f.past {
		f.past[i] = missing
	}
}

func (f *forecast) step(w *Watch, n *Now) {
	if f.minutes++; f.minutes < forecastStep {
		return
	}
	f.minutes = 0
	value := absent
	if w.air.Fresh(n) {
		value = float32(w.air.value)
	}
	yesterday := f.past[(f.at+forecastDay-1)%forecastDay].value() // the oldest value kept, about to be overwritten
	f.at = (f.at + forecastDay - 1) % forecastDay
	f.past[f.at] = pack(value)
	f.days = min(f.days+1, forecastDay)
	f.known = !isAbsent(value)
	if !f.known {
		return
	}
	now := float64(value)
	f.highest = now
	if f.days == forecastDay && !isAbsent(yesterday) {
		f.fromYesterday(now, float64(yesterday))
		return
	}
	if b, _, ok := w.pile.air.slope(forecastTrend); ok && b > 0 {
		f.highest = now + trendDamp*b*60*2
	}
}

// trendDamp is the share of the last hour's slope believed to go on for two hours; ours, no source.
const trendDamp = 0.6

func (f *forecast) fromYesterday(now, then float64) {
	for k := 1; k <= forecastAhead; k++ {
		past := f.past[(f.at+forecastDay-k)%forecastDay].value()
		if isAbsent(past) {
			continue
		}
		hours := float64(k*forecastStep) / 60
		f.highest = max(f.highest, float64(past)+(now-then)*math.Pow(persistencePerH, hours))
	}
}

// heatExpected needs nest air of the last hour, better of the last day.
func (w *Watch) heatExpected(n *Now) alarm.Condition {
	if w.air == nil {
		return alarm.Condition{}
	}
	if !w.air.Fresh(n) || !w.forecast.known {
		w.forecast.limit.lost(n)
		return alarm.Condition{Hold: true}
	}
	crit := w.tables.Air(w.days.age, w.site.season.Season()).HeatCritical
	f := &w.forecast
	near := w.air.value > crit.C-forecastNear
	over := w.heat.crit.on // it is no longer expected, it is there
	f.limit.step(n, near && !over && f.highest > crit.C-forecastMargin, over || f.highest < crit.C-forecastClear, w.air.count, forecastDelay)
	c := alarm.Condition{
		Value: math.Round(f.highest*10) / 10, Limit: crit.C, HasValue: true, HasLimit: true, Unit: "C", Probe: w.air.Probe, Since: f.limit.sinceWall,
	}
	if f.limit.on {
		c.Severity = alarm.Warning
	}
	return w.asUsed(c)
}

// hundredths keeps a temperature in the archive's step, from -327 to 327 °C, in two bytes.
type hundredths int16

const missing hundredths = math.MinInt16

func pack(v float32) hundredths {
	if isAbsent(v) {
		return missing
	}
	return hundredths(math.Round(min(max(float64(v), -327), 327) * 100))
}

func (h hundredths) value() float32 {
	if h == missing {
		return absent
	}
	return float32(h) / 100
}
