package nest

import (
	"math"
	"slices"
)

// absent marks a minute without a value in a ring. It never leaves this package.
var absent = float32(math.NaN())

func isAbsent(v float32) bool { return v != v }

// ring holds the newest minutes of one series; index 0 is the newest. float32 keeps hundredths up to 1000.
type ring struct {
	at   int
	vals [ringMinutes]float32
}

// ringMinutes covers the longest look back of the detectors (45 min) with room to spare.
const ringMinutes = 64

func (r *ring) clear() {
	for i := range r.vals {
		r.vals[i] = absent
	}
}

func (r *ring) push(v float32) {
	r.at = (r.at + ringMinutes - 1) % ringMinutes
	r.vals[r.at] = v
}

func (r *ring) back(minutes int) float32 { return r.vals[(r.at+minutes)%ringMinutes] }

// median is the median of the values from minutes ago to further minutes ago; ok when at least half of them are there.
func (r *ring) median(from, to int) (float64, bool) {
	var buf [ringMinutes]float32
	vals := buf[:0]
	for i := from; i <= to; i++ {
		if v := r.back(i); !isAbsent(v) {
			vals = append(vals, v)
		}
	}
	if 2*len(vals) < to-from+1 {
		return 0, false
	}
	slices.Sort(vals)
	return float64(vals[len(vals)/2]), true
}

// mean is the mean of the newest n minutes; ok when all are there.
func (r *ring) mean(n int) (float64, bool) {
	sum := 0.0
	for i := range n {
		v := r.back(i)
		if isAbsent(v) {
			return 0, false
		}
		sum += float64(v)
	}
	return sum / float64(n), true
}

// slope is the least-squares slope over the newest n minutes, per minute, and its t statistic with the standard error doubled for
// serial correlation; ok when at least three quarters of the minutes are there.
func (r *ring) slope(n int) (b, t float64, ok bool) {
	var k, sx, sy, sxx, sxy, syy float64
	for i := range n {
		v := r.back(i)
		if isAbsent(v) {
			continue
		}
		x, y := float64(-i), float64(v)
		k++
		sx += x
		sy += y
		sxx += x * x
		sxy += x * y
		syy += y * y
	}
	if 4*int(k) < 3*n {
		return 0, 0, false
	}
	dx := sxx - sx*sx/k
	b = (sxy - sx*sy/k) / dx
	rest := max(syy-sy*sy/k-b*b*dx, 0)
	se := 2 * math.Sqrt(rest/(k-2)/dx)
	return b, b / max(se, 1e-9), true
}

// ewma is an exponentially weighted mean, pushed once a minute.
type ewma struct {
	value float64
	ok    bool
}

// perMinute is the weight of a new minute for a time constant in minutes.
func perMinute(minutes float64) float64 { return 1 - math.Exp(-1/minutes) }

func (e *ewma) push(v, weight float64) {
	if !e.ok {
		e.value, e.ok = v, true
		return
	}
	e.value += (v - e.value) * weight
}
