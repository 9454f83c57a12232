package yearstest

import "slices"

// breed lets a doe be bred, in her nest where it is free.
func (t *teller) breed(doe string, nest *Nest) func() {
	return func() {
		if slices.ContainsFunc(t.Nests, func(n *Nest) bool { return n.carried != nil && n.carried.Doe == doe }) {
			return
		}
		n := t.nestFor(nest)
		if n == nil {
			t.at(t.day+2, 17, t.breed(doe, nest))
			return
		}
		l := &Litter{
			Number: len(t.Litters) + 1, Doe: doe, Buck: one(t.r, t.Bucks), Bred: t.day, Kindled: None, Weaned: None, Ended: None, Boxed: None, Collected: None,
			Born: Unsaid, Dead: Unsaid, Grams: map[Day]float64{}, marked: map[string]Day{}, Lost: map[string]int{}, nest: n, leaves: t.day + longGestation + 36,
		}
		t.Litters = append(t.Litters, l)
		l.Stays = []Stay{{n.ID, t.day, None}}
		n.carried = l
		bred := t.say("bred", l, func(s *Said) { s.Doe, s.Buck = l.Doe, l.Buck })
		if wrong := bred; chance(t.r, mistaken) {
			wrong.On -= 7
			t.correct(wrong, bred, n)
		} else {
			t.write(bred)
		}
		pregnant := chance(t.r, conceives)
		if chance(t.r, 0.85) {
			t.at(t.day+between(t.r, 10, 14), 18, func() { t.palpate(l, pregnant) })
		}
		if chance(t.r, 0.96) {
			t.at(t.day+between(t.r, 27, 29), 17.5, func() { t.boxIn(l) })
		}
		if pregnant {
			t.at(t.day+gestationDays(t.r), t.birthHour(), func() { t.kindle(l) })
		} else {
			t.at(t.day+between(t.r, 34, 36), 19, func() { t.didNotKindle(l) })
		}
		if chance(t.r, 0.02) { // for the wrong nest, and taken back
			t.at(t.day+20, 19, func() {
				if l.Ended == None {
					t.strike(t.say("did-not-kindle", l))
				}
			})
		}
	}
}

// nestFor finds a nest for a doe who is bred today: her own, or another whose kits have left it by the time hers come.
func (t *teller) nestFor(own *Nest) *Nest {
	fits := func(n *Nest) bool {
		return n.carried == nil && (n.kits == nil || n.kits.leaves < t.day+shortGestation-2)
	}
	if fits(own) {
		return own
	}
	var free []*Nest
	for _, n := range t.Nests {
		if fits(n) {
			free = append(free, n)
		}
	}
	if len(free) == 0 {
		return nil
	}
	return one(t.r, free)
}

// birthHour is mostly at night, seldom by day (published); the keeper finds the kits in the morning, or late in the evening.
func (t *teller) birthHour() float64 {
	switch u := t.r.Float64(); {
	case u < 0.6:
		return 5 * t.r.Float64()
	case u < 0.9:
		return 20 + 2*t.r.Float64()
	}
	return 5 + 14*t.r.Float64()
}

func (t *teller) palpate(l *Litter, pregnant bool) {
	if l.Ended != None {
		return
	}
	l.Found = "not-pregnant"
	if pregnant != chance(t.r, feltWrong) {
		l.Found = "pregnant"
	}
	if chance(t.r, feltUnsure) {
		l.Found = "unsure"
	}
	t.writeLater(func() {}, t.say("palpated", l, found(l.Found)))
	if l.Found == "not-pregnant" && !pregnant && chance(t.r, 0.7) {
		t.at(t.day+4, 19, func() { t.didNotKindle(l) })
	}
}

func (t *teller) boxIn(l *Litter) {
	if l.Ended != None || l.Kindled != None {
		return
	}
	l.Boxed = t.day
	t.write(t.say("box-in", l, func(s *Said) {
		s.Bedding, s.Depth = "shavings", 3
		if t.day.season(t.South) == "winter" {
			s.Bedding, s.Depth = "straw", float64(between(t.r, 15, 20))
		} else if chance(t.r, 0.3) {
			s.Bedding, s.Depth = "hay & straw", 8
		}
	}))
}

func (t *teller) didNotKindle(l *Litter) {
	if l.Ended != None {
		return
	}
	l.Ended, l.Failed = t.day, true
	l.Stays[0].Until = t.day
	t.write(t.say("did-not-kindle", l))
	l.nest.carried = nil
	t.at(t.day+between(t.r, 1, 5), 17, t.breed(l.Doe, l.nest))
}

func (t *teller) kindle(l *Litter) {
	n := l.nest
	l.Kindled, l.Season = t.day, t.day.season(t.South)
	born, dead := int(between(t.r, 4, 7)+between(t.r, 0, 4)), 0
	for range born {
		if chance(t.r, bornDead) {
			dead++
		}
	}
	if chance(t.r, allDead) {
		dead = born
	}
	born -= dead
	l.Born, l.Dead = born, dead
	if born > 0 && chance(t.r, uncounted) {
		l.Born, l.Dead = Unsaid, Unsaid
	}
	l.Mean = survives[n.Kind][l.Season]
	l.Chance = beta(t.r, l.Mean, alike)
	for range born {
		k := &Kit{Dies: None, Born: t.day}
		if !chance(t.r, l.Chance) {
			k.Dies = t.day + dies(t.r)
		}
		l.Kits, l.in = append(l.Kits, k), append(l.in, k)
	}
	n.carried, n.kits = nil, l
	wean := between(t.r, 34, 36)
	l.leaves = t.day + wean
	said := t.say("kindled", l, func(s *Said) { s.Kits, s.Dead, s.Season = l.Born, l.Dead, l.Season })
	if chance(t.r, 0.5) {
		said.Hour = t.hour
	}
	written := max(t.hour, 7.25)
	t.later(t.day, written, func() {
		switch wrong := said; {
		case chance(t.r, mistaken):
			wrong.On, wrong.Hour = wrong.On-1, DayOnly
			t.correct(wrong, said, n)
		case chance(t.r, mistaken) && l.Born > 0:
			wrong.Kits++
			t.correct(wrong, said, n)
		default:
			t.write(said)
		}
		if born == 0 {
			t.gone(l)
		}
	})
	if born == 0 {
		return
	}
	t.rear(l, wean)
}

// rear plans what the keeper does with living kits.
func (t *teller) rear(l *Litter, wean Day) {
	kind := l.nest.Kind
	if l.Born != Unsaid {
		t.at(t.day+between(t.r, 0, 1), 22.25, func() { t.foster(l) })
	}
	for _, w := range []struct {
		age    Day
		chance float64
	}{{1, 0.3}, {7, 0.6}, {21, 0.6}, {33, 0.5}} {
		if chance(t.r, w.chance) {
			t.at(t.day+w.age, 18, func() { t.weigh(l) })
		}
	}
	if kind == "buried-tote" {
		l.leaves = t.day + between(t.r, 10, 12)
		t.at(l.leaves, 17, func() { t.collect(l, wean) })
	} else if chance(t.r, 0.06) {
		t.at(t.day+between(t.r, 3, 9), 17, func() { t.move(l) })
	}
	t.at(t.day+wean, 18.25, func() { t.wean(l) })
	if chance(t.r, 0.2) { // bred again while the kits are with her
		t.at(t.day+between(t.r, 21, 27), 17.75, func() { t.again(l) })
	}
}

// again has the doe of a litter bred once more, unless she is.
func (t *teller) again(l *Litter) {
	for _, o := range t.Litters {
		if o.Doe == l.Doe && o.Number > l.Number {
			return
		}
	}
	t.breed(l.Doe, t.nestOf(l.Stays[0].Nest))()
}

func (t *teller) nestOf(id string) *Nest {
	return t.Nests[slices.IndexFunc(t.Nests, func(n *Nest) bool { return n.ID == id })]
}

// gone ends a litter of which no kit is left.
func (t *teller) gone(l *Litter) {
	t.end(l)
	t.at(t.day+between(t.r, 3, 8), 17, func() { t.again(l) })
}

// end takes a litter's kits out of its nest for good.
func (t *teller) end(l *Litter) {
	if l.Ended == None {
		l.Ended = t.day
	}
	t.leave(l)
}

func (t *teller) leave(l *Litter) {
	if s := &l.Stays[len(l.Stays)-1]; s.Until == None {
		s.Until = t.day
	}
	if l.nest != nil && l.nest.kits == l {
		l.nest.kits = nil
	}
}

// lie puts a litter's kits into another nest.
func (t *teller) lie(l *Litter, n *Nest) {
	t.leave(l)
	l.Stays = append(l.Stays, Stay{n.ID, t.day, None})
	n.kits, l.nest = l, n
}
