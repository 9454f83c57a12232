package nest

import (
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// Role is what a probe is for.
type Role string

// The roles.
const (
	Cluster Role = "cluster"
	Air     Role = "air"
	CO2     Role = "co2"
	Cage    Role = "cage"
)

// Judgement says whether one danger is judged now and, if not, why.
type Judgement struct {
	Danger string // heat, chill, cold, damp
	Judged bool
	Why    string
}

// Places visits the nest's channels by what they are for, absent ones left out.
func (w *Watch) Places(visit func(role Role, c *Channel)) {
	for _, c := range w.cluster {
		visit(Cluster, c)
	}
	for _, p := range [...]struct {
		role Role
		c    *Channel
	}{{Air, w.air}, {Air, w.airRH}, {CO2, w.co2}, {Cage, w.cage}, {Cage, w.cageRH}} {
		if p.c != nil {
			visit(p.role, p.c)
		}
	}
}

// Config is how the keeper describes the nest.
func (w *Watch) Config() Config { return w.cfg }

// Litter is the litter as entered, with the proposed kindling where the keeper has not given one, or nil.
func (w *Watch) Litter() *litter.Litter {
	if !w.has {
		return nil
	}
	l := w.book
	l.Kindled = w.kindled()
	return &l
}

// Age is whole days since kindling, -1 when not known.
func (w *Watch) Age() int { return w.days.age }

// DaysBred is whole days since breeding, -1 when not known.
func (w *Watch) DaysBred() int {
	if !w.has {
		return -1
	}
	return w.days.bred
}

// Gone reports whether the litter has been ended.
func (w *Watch) Gone() bool { return w.has && w.days.ended }

// Out reports whether the kits have left their nest for good.
func (w *Watch) Out() bool { return w.days.out || w.days.age > brood.LastClusterDay }

// Core is the estimate of the pile's core, °C; ok while it is judged.
func (w *Watch) Core(n *Now) (c float64, ok bool) { return round2(w.pile.core), w.chillJudged(n) }

// Limits are the nest-air limits in force, and the cluster's where kits are known.
func (w *Watch) Limits() (brood.AirLimits, brood.ClusterLimits, bool) {
	season := w.site.season.Season()
	cluster, ok := w.tables.Cluster(max(w.days.age, 0), season)
	return w.tables.Air(w.days.age, season), cluster, ok && w.hasKits()
}

// Judged lists what is watched now and what cannot be.
func (w *Watch) Judged(n *Now) []Judgement {
	chill := Judgement{Danger: "chill", Judged: w.chillJudged(n)}
	switch {
	case !chill.Judged:
		chill.Why = w.whyNoChill(n)
	case w.pile.far:
		chill.Why = "by a fall of its warmth only: the probe lies badly"
	}
	cold := Judgement{Danger: "cold", Why: w.whyNoKits()}
	if cold.Why == "" && !w.air.Fresh(n) {
		cold.Why = w.whyNoAir()
	}
	cold.Judged = cold.Why == ""
	return []Judgement{w.heatJudged(n), chill, cold, w.dampJudged(n)}
}

// chillJudged reports whether the pile was judged at the last minute and still can be.
func (w *Watch) chillJudged(n *Now) bool {
	return w.pile.chill.judged && w.warmest(n) != nil && w.air.Fresh(n)
}

func (w *Watch) heatJudged(n *Now) Judgement {
	switch {
	case w.air.Fresh(n):
		return Judgement{Danger: "heat", Judged: true}
	case w.warmest(n) != nil && w.days.age <= brood.LastClusterDay:
		return Judgement{Danger: "heat", Judged: true, Why: "by the cluster probe only: no usable nest air"}
	}
	return Judgement{Danger: "heat", Why: w.whyNoAir()}
}

func (w *Watch) whyNoAir() string {
	if w.air == nil {
		return "no nest-air probe"
	}
	return "no usable reading of nest air"
}

// whyNoKits is why nothing can be said of kits, empty while they are there.
func (w *Watch) whyNoKits() string {
	switch {
	case w.Gone():
		return "no kits: the litter is ended"
	case !w.has:
		return "no litter entered"
	case w.days.age < 0:
		return "not kindled yet"
	case w.days.age > brood.LastClusterDay:
		return "kits of this age leave the nest"
	case w.days.out:
		return "their box was taken out"
	}
	return ""
}

func (w *Watch) whyNoChill(n *Now) string {
	p := &w.pile
	if why := w.whyNoKits(); why != "" {
		return why
	}
	switch {
	case len(w.cluster) == 0:
		return "no cluster probe"
	case w.warmest(n) == nil:
		return "no usable reading of the cluster"
	case w.air == nil && w.days.age <= brood.RawChillLastDay:
		return "no nest-air probe; only the back-stop of 15 °C (59 °F) is"
	case !w.air.Fresh(n):
		return w.whyNoAir()
	case p.blind:
		return "the probe is not on the cluster"
	case w.learned.health.mixed():
		return "two probes may be swapped"
	case !p.valid, p.a.value < hotAir+1:
		return "readings have only just begun"
	}
	return "nest air is too warm for a chill to show"
}

// Standing appends the alarms that are on, in words that fit their newest values.
func (w *Watch) Standing(to []alarm.Standing) []alarm.Standing {
	for i := range rules {
		to = standing(&w.slots[i], to, func(c alarm.Condition) alarm.Words { return w.words(rules[i].name, c) })
	}
	return to
}

// Standing appends the site's alarms that are on.
func (s *Site) Standing(to []alarm.Standing) []alarm.Standing {
	for i := range siteRules {
		to = standing(&s.slots[i], to, func(c alarm.Condition) alarm.Words { return s.words(siteRules[i].name, c) })
	}
	return to
}

func standing(slot *alarm.Slot, to []alarm.Standing, words func(alarm.Condition) alarm.Words) []alarm.Standing {
	if !slot.On() {
		return to
	}
	st := slot.Standing()
	if c, ok := slot.Condition(); ok {
		now := words(c)
		st.Text, st.Rule, st.Source = now.Text, now.Rule, now.Source
	}
	return append(to, st)
}

// Restore puts back the alarms that were on when the state was stored, and takes down those that were not.
func (w *Watch) Restore(stored []alarm.Standing) {
	for i := range rules {
		w.slots[i] = restored(stored, w.cfg.ID, rules[i].name)
		switch rules[i].name {
		case alarm.ProbeSilent:
			w.lost.restore(w.slots[i])
		case alarm.ClusterChill:
			w.pile.chill.restored = w.slots[i].On()
		}
		if w.slots[i].On() {
			w.damp.restore(w.slots[i].Standing())
		}
	}
}

// Restore puts back the site's alarms.
func (s *Site) Restore(stored []alarm.Standing) {
	for i := range siteRules {
		s.slots[i] = restored(stored, "", siteRules[i].name)
		if siteRules[i].name == alarm.ProbeSilent {
			s.lost.restore(s.slots[i])
		}
	}
}

func restored(stored []alarm.Standing, nest string, name alarm.Name) alarm.Slot {
	var slot alarm.Slot
	if st := alarm.Find(stored, nest, name); st.Severity != alarm.None {
		slot.Restore(st)
	}
	return slot
}

// Places visits the channels of the air outside.
func (s *Site) Places(visit func(c *Channel)) {
	for _, c := range []*Channel{s.air, s.rh} {
		if c != nil {
			visit(c)
		}
	}
}

// Recall takes an event of the past from the archive: what a restart must not forget and the last day's readings do not hold.
func (w *Watch) Recall(n *Now, e alarm.Event) {
	switch e.Name {
	case alarm.Kindled:
		if w.has && w.book.Kindled.IsZero() && !e.Since.Before(w.book.Bred) {
			w.birth.proposed = e.Since
			w.days.until, w.due.until = time.Time{}, time.Time{}
		}
	case alarm.Visit:
		came := e.Since
		if kindled := w.kindled(); !kindled.IsZero() && came.After(kindled) && came.After(w.visits.last) {
			w.visits.last = came
			w.visits.unseen = max(int(n.Wall.Sub(came).Minutes()), 0) // none where no reading has been observed yet
		}
	case alarm.Inspection:
		w.visits.openedAt = later(w.visits.openedAt, e.Time)
	}
}
