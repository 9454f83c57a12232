package nest

import (
	"math"
	"time"

	"nestmon/thresholds/alarm"
)

// The expectation of nest air. All numbers were found on simulated nests; ours. There, in rising air above 30 °C, the highest of the
// next two hours was met to 1.05 K (root mean square); yesterday's shape alone met it to 1.4, the last hour's slope to 1.3. Of real air
// they foresaw as many days with fewer alarms for nothing.
const (
	forecastStep  = 5                                // min, over which a kept value is the mean
	forecastDay   = 24 * 60 / forecastStep           // values in a day
	forecastKept  = forecastDay + forecastSmooth + 1 // values kept
	forecastAhead = 2 * 60 / forecastStep            // values in the two hours looked ahead
	forecastSoon  = 60 / forecastStep                // values in the hour ahead that makes an emergency
	forecastNear  = 5.0                              // °C: air further under the critical limit than this is not looked at
	forecastClear = 2.0                              // °C under the limit ends an expectation
	forecastDelay = 10 * time.Minute                 // the expectation must last

	levelWeight = 0.5  // of a new value in Holt's level
	trendWeight = 0.1  // of the level's step in Holt's trend
	trendDamp   = 0.95 // of the trend that is left after each further step: it runs out within two hours
	trendLeast  = 6    // values before a trend is one: half an hour
	trendGap    = 6    // values that may be missing before it begins anew

	yesterdayShare  = 0.5  // of yesterday's shape in the expectation, the rest is the trend's
	forecastSmooth  = 6    // values on either side over which yesterday is smoothed: the doe came then, too
	persistencePerH = 0.97 // of today's difference from yesterday that is left after an hour
)

// forecast expects nest air up to two hours ahead: by Holt's damped trend (Holt 1957; Gardner & McKenzie 1985, from memory), and from the
// second day on by yesterday's shape as well.
type forecast struct {
	past    [forecastKept]hundredths // °C every five minutes, newest at at
	at      int
	minutes int // since the newest was kept
	sum     float64
	fresh   int // minutes with a value in sum

	level, trend float64 // °C, and K in a step
	seen         int     // values in the trend
	missing      int     // values since the newest in it

	highest float64 // °C of the two hours ahead
	soon    float64 // °C of the hour ahead
	known   bool    // of the last five minutes

	limit dwell
	sun   sun
}

func (f *forecast) forget() {
	*f = forecast{limit: f.limit, sun: sun{limit: f.sun.limit}}
	for i := range f.past {
		f.past[i] = missing
	}
	f.sun.forget()
}

func (f *forecast) step(w *Watch, n *Now) {
	if w.air.Fresh(n) {
		f.sum += w.air.value
		f.fresh++
	}
	if !w.house.on { // there is no sun indoors
		f.sun.take(w.site.air, n)
	}
	if f.minutes++; f.minutes < forecastStep {
		return
	}
	value := absent
	if f.known = f.fresh > 0; f.known {
		value = float32(f.sum / float64(f.fresh))
	}
	f.minutes, f.sum, f.fresh = 0, 0, 0
	f.at = (f.at + forecastKept - 1) % forecastKept
	f.past[f.at] = pack(value)
	f.sun.step(f)
	if !f.known {
		if f.missing++; f.missing > trendGap {
			f.seen = 0
		}
		return
	}
	f.missing = 0
	f.follow(float64(value))
	f.look()
}

// follow takes a value into level and trend.
func (f *forecast) follow(v float64) {
	if f.seen == 0 {
		f.level, f.trend = v, 0
	}
	f.seen++
	surprise := v - f.level - f.trend
	f.level += f.trend + levelWeight*surprise
	f.trend += levelWeight * trendWeight * surprise
}

// rising and falling tell where the air goes; neither while no trend is known.
func (f *forecast) rising() bool  { return f.seen >= trendLeast && f.trend > 0 }
func (f *forecast) falling() bool { return f.seen >= trendLeast && f.trend < 0 }

func (f *forecast) look() {
	f.highest, f.soon = f.level, f.level
	if f.seen < trendLeast {
		return
	}
	then, shaped := f.yesterday(0)
	path, step, left := f.level, f.trend, f.level-then
	for k := 1; k <= forecastAhead; k++ {
		step *= trendDamp
		path += step
		left *= persistencePerStep
		ahead := path
		if past, ok := f.yesterday(k); ok && shaped {
			ahead += yesterdayShare * (past + left - path)
		}
		f.highest = max(f.highest, ahead)
		if k <= forecastSoon {
			f.soon = f.highest
		}
	}
}

var persistencePerStep = math.Pow(persistencePerH, float64(forecastStep)/60)

// back is nest air k values ago.
func (f *forecast) back(k int) float32 { return f.past[(f.at+k)%forecastKept].value() }

// yesterday is the smoothed nest air of a day ago and k steps on.
func (f *forecast) yesterday(k int) (float64, bool) {
	sum, n := 0.0, 0
	for j := -forecastSmooth; j <= forecastSmooth; j++ {
		if v := f.back(forecastDay - k + j); !isAbsent(v) {
			sum += float64(v)
			n++
		}
	}
	return sum / float64(max(n, 1)), n > forecastSmooth
}

// heatExpected needs nest air of the last half hour, better of the last day. The sun needs the air outside as well.
func (w *Watch) heatExpected(n *Now) alarm.Condition {
	if w.air == nil {
		return alarm.Condition{}
	}
	f := &w.forecast
	if !w.air.Fresh(n) || !f.known {
		f.limit.lost(n)
		f.sun.limit.lost(n)
		return alarm.Condition{Hold: true}
	}
	lim := w.tables.Air(w.days.age, w.site.season.Season())
	warn, crit := lim.HeatWarn.C, lim.HeatCritical.C
	near, over := w.air.value > crit-forecastNear, w.heat.urgent // what is there is no longer expected
	f.limit.step(n, near && !over && f.rising() && f.highest >= crit, over || f.highest < crit-forecastClear, w.air.count, forecastDelay)
	f.sun.limit.step(n, f.sun.on(w.cfg.Kind) && !w.heat.warn.on && f.highest >= warn, w.heat.warn.on || f.highest < warn-forecastClear, w.air.count, 0)
	c := alarm.Condition{
		Value: math.Round(f.highest*10) / 10, Limit: crit, HasValue: true, HasLimit: true, Unit: "C", Probe: w.air.Probe,
	}
	switch {
	case f.limit.on:
		c.Severity, c.Since = alarm.Warning, f.limit.sinceWall
	case f.sun.limit.on:
		c.Severity, c.Since, c.Limit = alarm.Notice, f.sun.limit.sinceWall, warn
	}
	if f.sun.on(w.cfg.Kind) {
		c.Why = whySun
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
