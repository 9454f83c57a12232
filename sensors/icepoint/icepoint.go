// Package icepoint judges the readings of a probe that lies in melting ice, and says when they can be made an offset of.
//
// A Bath takes what the probe says, as its chip gives it, for as long as it takes to settle and to stay steady, and knows no bus, no clock and no
// words: the command and the page have one judge and say what it finds in their own way.
package icepoint

import (
	"math"
	"time"

	"nestmon/sensors"
)

// Point is melting ice in water that has met air, almost exactly (MSL Technical Guide 1, "The Ice Point", version 3, 2019).
const Point = 0.0 // °C

// When a probe in ice counts as settled. Ours, no source; a DS18B20's step is 1/16 °C.
const (
	Every  = 5 * time.Second  // between readings, where the bus allows: the chip warms itself a little by each
	Window = 3 * time.Minute  // of readings that count
	Limit  = 30 * time.Minute // after which it is given up

	least  = 3 * time.Minute // within what an offset may correct, before the readings that count begin
	fewest = 4               // readings that count: those of polls a minute apart
	spread = 0.15            // °C between their lowest and highest: two steps and rounding
	slope  = 0.02            // °C/min of the line through them: ice that is gone, or a probe still cooling
	faults = 5               // failed readings in a row that end it
)

// State is how far a comparison is.
type State string

// The states. The last four end it.
const (
	Away     State = "away"     // farther from 0 °C than an offset may correct
	Broken   State = "broken"   // a reading failed, and an unbroken row is waited for
	Settling State = "settling" // it is near, and not yet long enough
	Uneven   State = "uneven"   // its readings lie too far apart
	Moving   State = "moving"   // they rise or fall

	Ready   State = "ready"    // they can be made an offset of
	Silent  State = "silent"   // it gives no value
	TooFar  State = "too-far"  // it is steady, and an offset would hide what is wrong with it
	TooLong State = "too-long" // it did not become steady in time
)

// States lists them.
var States = []State{Away, Broken, Settling, Uneven, Moving, Ready, Silent, TooFar, TooLong}

// Verdict is what is known of a comparison.
type Verdict struct {
	State  State
	Last   State         // what was the matter at the end, where it took too long
	Value  float64       // °C, the newest; valid where Known
	Known  bool          // there is one
	Left   time.Duration // until the readings that count are enough
	Spread float64       // °C, of those that count
	Slope  float64       // °C/min
	Fault  sensors.Fault // of the newest reading, where it failed
	Note   string        // what the driver says of it
}

// Over reports whether the comparison has ended.
func (v Verdict) Over() bool {
	switch v.State {
	case Ready, Silent, TooFar, TooLong:
		return true
	}
	return false
}

// Result is what the readings that count say.
type Result struct {
	At           time.Time // of the newest
	Mean, Spread float64   // °C
	Offset       float64   // °C, to be added to what the probe says
	Readings     int
	Took         time.Duration
}

// Bath is the readings of a probe in ice. The zero value is ready.
type Bath struct {
	begun  time.Time
	near   time.Time // since when it is close enough to 0 °C for an offset
	values []sample  // an unbroken row
	faults int
	fault  sensors.Fault
	note   string
}

type sample struct {
	at    time.Time
	value float64
}

// Begun is when the first reading was taken.
func (b *Bath) Begun() time.Time { return b.begun }

// Take notes what one reading of the probe gave; note is what its driver says of a fault.
func (b *Bath) Take(now time.Time, readings []sensors.Reading, note string) {
	if b.begun.IsZero() {
		b.begun = now
	}
	fault := sensors.NoAnswer
	for _, r := range readings {
		if r.Quantity != sensors.Temperature {
			continue
		}
		if r.OK() {
			b.faults, b.fault, b.note = 0, "", ""
			b.values = append(b.values, sample{now, r.Value})
			if math.Abs(r.Value-Point) > sensors.MostTemperatureOffset {
				b.near = time.Time{}
			} else if b.near.IsZero() {
				b.near = now
			}
			return
		}
		fault = r.Fault
	}
	b.faults, b.fault, b.note = b.faults+1, fault, note
	b.values, b.near = nil, time.Time{} // what counts is an unbroken row
}

// window is the readings that count at now; ok is false while they do not reach back far enough.
func (b *Bath) window(now time.Time) (of []sample, ok bool) {
	for i := len(b.values) - 1; i >= 0; i-- {
		if now.Sub(b.values[i].at) > Window {
			return of, true
		}
		of = b.values[i:]
	}
	return of, false
}

// Judge says what is known at now.
func (b *Bath) Judge(now time.Time) Verdict {
	v := b.look(now)
	if !v.Over() && !b.begun.IsZero() && now.Sub(b.begun) >= Limit {
		v.State, v.Last = TooLong, v.State
	}
	return v
}

func (b *Bath) look(now time.Time) Verdict {
	v := Verdict{State: Broken, Fault: b.fault, Note: b.note}
	if b.faults >= faults {
		v.State = Silent
		return v
	}
	of, whole := b.window(now)
	if b.faults > 0 || len(b.values) == 0 {
		return v
	}
	v.Value, v.Known = b.values[len(b.values)-1].value, true
	mean := 0.0
	mean, v.Spread, v.Slope = describe(of)
	switch {
	case b.near.IsZero():
		v.State = Away
	case now.Sub(b.near) < least+Window || !whole || len(of) < fewest:
		v.State, v.Left = Settling, max(least+Window-now.Sub(b.near), 0)
	case v.Spread > spread:
		v.State = Uneven
	case math.Abs(v.Slope) > slope:
		v.State = Moving
	case math.Abs(mean-Point) > sensors.MostTemperatureOffset:
		v.State, v.Value = TooFar, mean
	default:
		v.State = Ready
	}
	return v
}

// Result is what a comparison that is Ready came to.
func (b *Bath) Result() Result {
	newest := b.values[len(b.values)-1].at
	of, _ := b.window(newest)
	mean, spread, _ := describe(of)
	return Result{
		At: newest, Mean: math.Round(mean*1000) / 1000, Spread: math.Round(spread*1000) / 1000,
		Offset: sensors.Temperature.Quantise(Point-mean) + 0, Readings: len(of), Took: newest.Sub(of[0].at), // no negative zero
	}
}

// describe is the mean of samples, °C, their spread, °C, and the slope of the line through them, °C/min; nothing of none.
func describe(of []sample) (mean, spread, slope float64) {
	if len(of) == 0 {
		return 0, 0, 0
	}
	low, high := math.Inf(1), math.Inf(-1)
	var st, sv, stt, stv float64
	n := float64(len(of))
	for _, s := range of {
		t := s.at.Sub(of[0].at).Minutes()
		low, high = min(low, s.value), max(high, s.value)
		st, sv, stt, stv = st+t, sv+s.value, stt+t*t, stv+t*s.value
	}
	if across := stt - st*st/n; across > 0 {
		slope = (stv - st*sv/n) / across
	}
	return sv / n, high - low, slope
}
