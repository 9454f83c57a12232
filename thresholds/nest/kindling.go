package nest

import (
	"slices"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

// Numbers of the kindling detector, found on simulated nests; ours, no litter measured.
const (
	lastKindling  = 36   // days after breeding: the end of the detector's window
	birthBaseline = 4    // hours before the empty nest's own warmth is known
	birthUnknown  = 1.5  // K more while it is not: two probes' offsets
	birthSlack    = 0.8  // K above the empty nest that count as nothing,
	birthSpread   = 1.0  // and this share of how much an empty nest's hours differ
	birthHolds    = 0.35 // share of its highest warmth that a litter keeps; the straw a doe has left does not
	birthBack     = 5.0  // min that a minute without warmth takes back

	birthDoe     = 2.0   // K that nest air rises over outside air with the 12 W of a doe in the box; a covered litter has 3 W
	birthWithDoe = 0.45  // of a minute counts while it does: it may be she
	birthWarmth  = 0.5   // of the way to the set-point: warmer than straw beside a doe
	birthQuick   = 75.0  // min of that warmth make a litter
	birthMinutes = 200.0 // min of any warmth do: longer than a doe sits
	birthKept    = 250.0 // min kept at most
	birthStill   = 30    // min without the least change: further ones prove nothing, for the probe may be stuck, or have coarse steps
	birthFading  = 0.8   // of its highest warmth, after birthQuick, that cools slowly, is a litter that dies: straw a doe has left cools fast
	fadingLeast  = 5.0   // K above the empty nest: in mild air neither dies so soon
	fadingFall   = 1.5   // K that the cluster itself must have fallen, not only neared the air
	fadingAir    = 1.0   // K that nest air may fall meanwhile: it falls by more when a doe has left
	fadingSlow   = 60.0  // min: a time constant of straw is shorter
	contrastLow  = 4.0   // K: warmth is no share of less
)

// birth looks for the step of warmth that a litter makes and a doe sitting in the box does not: it stays.
type birth struct {
	minutes  float64 // of warmth
	strong   float64 // of a litter's warmth
	age      int     // since they began
	since    time.Time
	peak     float64   // the highest warmth of these minutes
	before   float64   // K, nest air over outside air when they began
	last     float64   // °C, reading
	still    int       // min since it changed
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
	if !w.has || !w.kindled().IsZero() || w.days.ended || w.days.bred < litter.EarliestKindling-1 || !p.valid {
		return events
	}
	gap := p.y - p.a.value
	b.learn(gap)
	if w.days.bred < litter.EarliestKindling || w.days.bred > lastKindling {
		return events
	}
	if b.still++; p.y != b.last {
		b.last, b.still = p.y, 0
	}
	over := gap - b.base
	warmth := over / max(setPoint-p.a.value, contrastLow)
	lift := p.a.value
	if p.out.ok {
		lift -= p.out.value
	}
	if b.minutes == 0 {
		b.since, b.peak, b.before, b.strong, b.age = n.Wall, 0, lift, 0, 0
		if usual, ok := p.air.median(10, 39); ok {
			b.before = lift - p.a.value + usual
		}
	}
	b.peak = max(b.peak, warmth)
	b.age++
	minute := 1.0
	if lift-b.before > birthDoe {
		minute = birthWithDoe
	}
	if b.still >= birthStill {
		minute = 0
	}
	b.minutes = counted(b.minutes, minute, over > b.slack && warmth > birthHolds*b.peak)
	b.strong = counted(b.strong, minute, warmth > birthWarmth)
	fading := b.minutes > 0 && b.age >= birthQuick && over > fadingLeast && warmth < birthFading*b.peak && p.coolsSlowly()
	if b.strong < birthQuick && b.minutes < birthMinutes && !fading {
		return events
	}
	b.proposed = b.since
	w.days.until, w.due.until = time.Time{}, time.Time{}
	p.newLitter()
	p.far, p.blind = p.w < farBelow && !fading, p.w < blindBelow && !fading // a litter is there, and the probe is not on it
	c := alarm.Condition{Value: round2(over), HasValue: true, Limit: round2(b.slack), HasLimit: true, Unit: "C", Probe: p.probe.Probe}
	return append(events, w.note(n, alarm.Kindled, b.since, c, w.words(alarm.Kindled, c)))
}

// coolsSlowly reports whether the cluster has cooled for a while, surely, and all the while slower than straw.
func (p *pile) coolsSlowly() bool {
	tau, t, ok := p.cooling(coolingLong)
	now, still, also := p.cooling(coolingShort)
	air, ok1 := p.air.median(coolingLong-coolingShort, coolingLong)
	y, ok2 := p.reading.median(coolingLong-coolingShort, coolingLong)
	if !ok1 || !ok2 || air-p.a.value > fadingAir || y-p.y < fadingFall {
		return false
	}
	return ok && also && tau > fadingSlow && now > fadingSlow && t < coolingSure && still < coolingStill
}

// counted adds a warm minute to those before, or takes back more than one.
func counted(minutes, minute float64, warm bool) float64 {
	if !warm {
		minute = -birthBack
	}
	return min(max(minutes+minute, 0), birthKept)
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
