package nest

import (
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// Shapes of a visit and of an opened nest, found on simulated nests; ours, no visit measured.
const (
	pulseRise     = 0.6    // K of nest air above the half hour before
	pulseQuick    = 0.4    // K of it within five minutes
	visitJudged   = 28     // min after it in which it is seen whole, and the kits lie covered again
	beforeGap     = 2      // min before it that are left out of what was usual,
	airBefore     = 25     // min from where nest air,
	pileBefore    = 12     // min and from where the cluster was as usual
	settledFor    = 6      // min at the end in which they are compared again
	visitPeak     = 1.0    // K of nest air: some 12 W of doe in a closed box
	visitHeld     = 0.6    // of that peak, for
	heldLeast     = 3      // min: she nurses about three [Eur. J. Neurosci. 2009, abstract], and a look in without nursing is shorter
	heldMost      = 6      // min: sun and uncovered kits warm the air for longer
	visitGone     = 0.45   // of the peak that may be left
	goneFrom      = 8      // min after it began
	goneTo        = 10     // min
	answerLeast   = 0.5    // K by which the cluster must answer: bare while she nurses, warm where she lies on the probe, or better covered afterwards,
	answerShare   = 0.03   // or this share of its contrast, whichever is more
	bareWithin    = 24     // min in which the bare pile shows
	bumpWithin    = 10     // min in which she warms a probe she lies on
	refractory    = 3 * 60 // min: she does not come again so soon
	lidShare      = 0.45   // of the way from nest air to outside air
	lidLeast      = 0.6    // K
	lidWarm       = 3.0    // K that air must rise where it is warmer outside, and
	lidWarmShare  = 0.7    // of the way: a doe warms the air too
	lidBeyond     = 1.5    // K beyond the air outside that nest air may move: two thermometers' errors. Air that comes in makes nothing colder than itself
	lidQuiet      = 25     // min after an opened nest in which no visit is read
	rhythmHours   = 24.0   // h between nursings of six or more kits [Eur. J. Neurosci. 2009, abstract]
	missedVisits  = 2      // one visit in six is not seen on simulated nests, so one miss proves nothing
	rhythmSlack   = 4.0    // h
	nestOpenLeast = 30     // min between two inspections
	// Kits uncover themselves 1-2 h before she comes and lie covered again about 30 min after [Hudson & Distel 1982, abstract], on both
	// sides of a day that is never exactly one.
	uncoveredBefore = 2.2 // h
	gatheredAfter   = 1.2 // h
)

// visits tells the doe's visits and people's inspections apart by what they do to nest air.
type visits struct {
	pulseAgo int       // min since nest air rose as if the doe had come
	lidAgo   int       // min since the nest was opened
	visitAgo int       // min since the last visit seen
	unseen   int       // min with both probes fresh since the last visit
	last     time.Time // when the doe last came, as far as seen in this litter
	openedAt time.Time // the last inspection that was seen
	entered  time.Time // the last look that a person entered
}

func (v *visits) forget() { v.pulseAgo, v.lidAgo, v.visitAgo = longAgo, longAgo, longAgo }

func (v *visits) newLitter() {
	*v = visits{openedAt: v.openedAt, entered: v.entered}
	v.forget()
}

// lookedAt is the last inspection, seen or entered.
func (v *visits) lookedAt() time.Time { return later(v.openedAt, v.entered) }

// inspected takes a look that was entered, maybe some time ago.
func (v *visits) inspected(n *Now, at time.Time) {
	v.entered = later(v.entered, at)
	if ago := n.Wall.Sub(at).Minutes(); ago < longAgo {
		v.lidAgo = min(v.lidAgo, max(int(ago), 0))
	}
}

// recent reports whether the doe or a person came within the last minutes.
func (v *visits) recent(minutes int) bool { return v.pulseAgo < minutes || v.lidAgo < minutes }

func (v *visits) step(w *Watch, n *Now, events []alarm.Event) []alarm.Event {
	v.pulseAgo, v.lidAgo, v.visitAgo = min(v.pulseAgo+1, longAgo), min(v.lidAgo+1, longAgo), min(v.visitAgo+1, longAgo)
	p := &w.pile
	if p.valid && w.days.age >= 0 && w.house.rest == 0 {
		v.unseen++
	}
	events = v.judge(w, n, events)
	now, ok := p.air.mean(2)
	quick := p.air.back(5)
	if !ok || isAbsent(quick) {
		return events
	}
	if e, opened := v.opened(w, n, now); opened {
		return append(events, e)
	}
	if v.pulseAgo > visitJudged && now-float64(quick) > pulseQuick {
		if usual, ok := p.air.median(8, 37); ok && now-usual > pulseRise {
			v.pulseAgo = 0
		}
	}
	return events
}

// judge says of a pulse of nest air, once it is seen whole, whether the doe nursed.
func (v *visits) judge(w *Watch, n *Now, events []alarm.Event) []alarm.Event {
	p := &w.pile
	if v.pulseAgo != visitJudged || !p.valid || w.days.age < 0 || w.house.on || v.visitAgo < refractory || v.lidAgo < visitJudged+lidQuiet {
		return events
	}
	answer, ok := p.nursed()
	if !ok {
		return events
	}
	came := n.Wall.Add(-visitJudged * time.Minute)
	v.visitAgo, v.unseen, v.last = visitJudged, visitJudged, came
	return append(events, w.note(n, alarm.Visit, came,
		alarm.Condition{Unit: "C", Value: round2(answer), HasValue: true, Probe: p.probe.Probe}, w.words(alarm.Visit, alarm.Condition{})))
}

// nursed reports whether nest air, visitJudged minutes after it began to rise, has risen, stayed and fallen as it does with a doe who
// nurses, and the cluster has answered; and by how many K.
func (p *pile) nursed() (answer float64, ok bool) {
	usual, ok1 := p.air.median(visitJudged+beforeGap, visitJudged+airBefore)
	before, ok2 := p.reading.median(visitJudged+beforeGap, visitJudged+pileBefore)
	after, ok3 := p.reading.median(0, settledFor)
	left, ok4 := p.air.median(0, settledFor)
	late, ok5 := p.air.median(visitJudged-goneTo, visitJudged-goneFrom)
	if !ok1 || !ok2 || !ok3 || !ok4 || !ok5 {
		return 0, false
	}
	peak, held := 0.0, 0
	for m := range heldMost + 2 {
		if v, ok := p.air.median(visitJudged-m-1, visitJudged-m); ok {
			peak = max(peak, v-usual)
		}
	}
	for m := range goneTo + heldLeast {
		if float64(p.air.back(visitJudged-m))-usual > visitHeld*peak {
			held++
		}
	}
	if peak < visitPeak || held < heldLeast || held > heldMost || late-usual > visitGone*peak {
		return 0, false
	}
	answer = (after - left) - (before - usual) // she is gone and the kits have pulled their cover close
	for m := 1; m < bareWithin; m++ {
		y, ok := p.reading.median(visitJudged-m-1, visitJudged-m+1)
		if !ok {
			continue
		}
		answer = max(answer, before-y)
		if m < bumpWithin {
			answer = max(answer, y-before)
		}
	}
	return answer, answer > max(answerLeast, answerShare*(before-usual))
}

// opened looks for nest air that steps towards the air outside.
func (v *visits) opened(w *Watch, n *Now, now float64) (alarm.Event, bool) {
	p := &w.pile
	if !p.out.ok || v.lidAgo < nestOpenLeast {
		return alarm.Event{}, false
	}
	quick := p.air.back(5)
	usual, ok := p.air.median(8, 37)
	if !ok || isAbsent(quick) {
		return alarm.Event{}, false
	}
	way, moved := p.out.value-usual, now-usual
	least, share := lidLeast, lidShare
	if way > 0 {
		least, share = lidWarm, lidWarmShare
	}
	if way*moved <= 0 || abs(moved) > abs(way)+lidBeyond || abs(moved) < max(least, share*abs(way)) || abs(now-float64(quick)) < max(lidLeast, 0.5*abs(moved)) {
		return alarm.Event{}, false
	}
	v.lidAgo, v.openedAt = 0, n.Wall
	c := alarm.Condition{Unit: "C", Value: round2(moved), HasValue: true, Probe: w.air.Probe}
	return w.note(n, alarm.Inspection, n.Wall, c, w.words(alarm.Inspection, c)), true
}

// visitOverdue needs a cluster probe and nest air, a litter of six or more and two missed visits. Where none was ever seen the nest
// may not show them, and it is a notice.
func (w *Watch) visitOverdue(n *Now) alarm.Condition {
	p := &w.pile
	if !w.hasKits() || w.days.age < brood.VisitFirstDay || w.days.age > brood.VisitLastDay || w.kits() < brood.VisitKits || len(w.cluster) == 0 || w.air == nil {
		return alarm.Condition{}
	}
	if !p.valid || p.blind || w.house.on {
		return alarm.Condition{Hold: true}
	}
	hours := float64(w.visits.unseen) / 60
	limit := missedVisits*rhythmHours + rhythmSlack
	c := alarm.Condition{Value: round2(hours), Limit: limit, HasValue: true, HasLimit: true, Unit: "h", Probe: p.probe.Probe}
	if n.Wall.Sub(w.kindled()) > brood.VisitOffAfter && hours > limit {
		c.Severity, c.Since = alarm.Warning, n.Wall.Add(-time.Duration(w.visits.unseen)*time.Minute)
		if w.visits.last.IsZero() {
			c.Severity, c.Why = alarm.Notice, whyNeverSeen
		}
	}
	return c
}

func abs(v float64) float64 { return max(v, -v) }
