package nest

import (
	"slices"
	"time"

	"nestmon/thresholds/alarm"
)

// Numbers of the kindling detector: a cumulative sum (Page 1954) of warmth above the empty nest's own, found on simulated nests;
// ours, no litter measured.
const (
	lastKindling  = 36    // days after breeding: the end of the detector's window
	birthSlack    = 3.0   // K of warmth above the empty nest that count as nothing
	birthSum      = 300.0 // K·min that make a litter
	birthSumMax   = 900.0 // K·min kept at most
	birthMinutes  = 75    // min of warmth that make a litter: longer than a doe usually sits
	birthBaseline = 6     // hours before the empty nest's own warmth is known
)

// birth looks for the step of warmth that a litter makes and a doe sitting in the box does not: it stays.
type birth struct {
	sum      float64 // K·min
	minutes  int     // of warmth
	since    time.Time
	proposed time.Time // when the warmth began, once it is believed

	gap     [60]float32 // K, this hour's
	n       int
	hourly  [48]float32 // medians of the nest before the litter
	hours   int
	base    float64
	hasBase bool
}

func (b *birth) step(w *Watch, n *Now, events []alarm.Event) []alarm.Event {
	p := &w.pile
	if !w.has || !w.kindled().IsZero() || w.days.ended || w.days.bred < earliestKindling-1 || !p.valid {
		return events
	}
	gap := p.y - p.a.value
	b.learn(gap)
	if w.days.bred < earliestKindling || w.days.bred > lastKindling {
		return events
	}
	z := gap
	if b.hasBase {
		z -= b.base
	}
	if b.sum <= 0 && z > birthSlack {
		b.since = n.Wall
	}
	b.sum = min(max(b.sum+z-birthSlack, 0), birthSumMax)
	if z > birthSlack {
		b.minutes++
	} else {
		b.minutes = max(b.minutes-3, 0)
	}
	if b.sum <= birthSum || b.minutes < birthMinutes {
		return events
	}
	if tau, t, ok := p.cooling(30); ok && tau < 60 && t < -4 {
		return events // warmth that is going away is a doe who has left
	}
	b.proposed = b.since
	w.days.until, w.due.until = time.Time{}, time.Time{}
	p.newLitter()
	c := alarm.Condition{Value: round2(gap), HasValue: true, Limit: birthSlack, HasLimit: true, Unit: "C", Probe: p.probe.Probe}
	return append(events, w.note(n, alarm.Kindled, b.since, c, w.words(alarm.Kindled, c)))
}

// learn keeps hourly medians of the gap; their lower quartile is what the nest shows without a litter.
func (b *birth) learn(gap float64) {
	b.gap[b.n%60] = float32(gap)
	if b.n++; b.n%60 != 0 {
		return
	}
	vals := b.gap
	slices.Sort(vals[:])
	copy(b.hourly[1:], b.hourly[:])
	b.hourly[0] = vals[30]
	b.hours = min(b.hours+1, len(b.hourly))
	if b.hours < birthBaseline {
		return
	}
	all := b.hourly
	sorted := all[:b.hours]
	slices.Sort(sorted)
	b.base, b.hasBase = min(max(float64(sorted[b.hours/4]), -1), 4), true
}
