package nest

import (
	"slices"
	"time"

	"nestmon/thresholds/alarm"
)

// Numbers of the kindling detector, found on simulated nests; ours, no litter measured.
const (
	lastKindling  = 36   // days after breeding: the end of the detector's window
	birthBaseline = 4    // hours before the empty nest's own warmth is known
	birthUnknown  = 1.5  // K more while it is not: two probes' offsets
	birthSlack    = 0.8  // K above the empty nest that count as nothing,
	birthSpread   = 1.0  // and this share of how much an empty nest's hours differ
	birthHolds    = 0.35 // share of its highest warmth that a litter keeps; the straw a doe has left does not
	birthBack     = 5    // min that a minute without warmth takes back

	birthQuick   = 75    // min of a litter's warmth in which no doe is in the box
	birthWarmth  = 0.5   // of the way to the set-point: warmer than straw beside a doe, which is no warmer than 30 °C
	birthDoe     = 2.0   // K that a doe's own heat, some 12 W, warms nest air over outside air; a litter's 3 W does not
	birthMinutes = 200.0 // min of any warmth without her: longer than a doe sits,
	birthWithDoe = 0.5   // and a minute of it with her counts for so much
	birthKept    = 250.0 // min kept at most
	contrastLow  = 4.0   // K: warmth is no share of less
)

// birth looks for the step of warmth that a litter makes and a doe sitting in the box does not: it stays.
type birth struct {
	minutes  float64 // of warmth
	strong   int     // min of a litter's warmth without a doe
	since    time.Time
	peak     float64   // the highest warmth of these minutes
	before   float64   // K, nest air over outside air when they began
	proposed time.Time // when the warmth began, once it is believed

	gap    [60]float32 // K, this hour's
	n      int
	hourly [48]float32 // medians of the nest before the litter
	hours  int
	base   float64
	slack  float64
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
	over := gap - b.base
	warmth := over / max(setPoint-p.a.value, contrastLow)
	lift := p.a.value
	if p.out.ok {
		lift -= p.out.value
	}
	if b.minutes == 0 {
		b.since, b.peak, b.before, b.strong = n.Wall, 0, lift, 0
		if usual, ok := p.air.median(10, 39); ok {
			b.before = lift - p.a.value + usual
		}
	}
	b.peak = max(b.peak, warmth)
	doe := lift-b.before > birthDoe
	switch {
	case over < b.slack || warmth < birthHolds*b.peak:
		b.minutes = max(b.minutes-birthBack, 0)
	case doe:
		b.minutes = min(b.minutes+birthWithDoe, birthKept)
	default:
		b.minutes = min(b.minutes+1, birthKept)
	}
	if warmth > birthWarmth && !doe {
		b.strong++
	} else {
		b.strong = max(b.strong-birthBack, 0)
	}
	if b.strong < birthQuick && b.minutes < birthMinutes {
		return events
	}
	b.proposed = b.since
	w.days.until, w.due.until = time.Time{}, time.Time{}
	p.newLitter()
	p.blind = p.w < blindBelow // a litter is there, and the probe is not on it
	c := alarm.Condition{Value: round2(gap), HasValue: true, Limit: round2(b.base + b.slack), HasLimit: true, Unit: "C", Probe: p.probe.Probe}
	return append(events, w.note(n, alarm.Kindled, b.since, c, w.words(alarm.Kindled, c)))
}

// learn keeps hourly medians of the gap, which show what the nest is without a litter.
func (b *birth) learn(gap float64) {
	if b.n == 0 {
		b.slack = birthSlack + birthUnknown
	}
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
	b.base = min(max(float64(sorted[b.hours/2]), -2), 2)
	b.slack = birthSlack + birthSpread*float64(sorted[b.hours*3/4]-sorted[b.hours/4])
}
