package yearstest

// nonsense is what cannot be true: what is written, and part of the reason why it is refused. It returns nothing where the story has no
// place for it now.
var nonsense = []func(t *teller) (said []Said, reason string){
	func(t *teller) ([]Said, string) { // a kindling before breeding
		if l := t.carried(); l != nil {
			return []Said{t.say("kindled", l, on(l.Bred-2), kits(6))}, "is before bred"
		}
		return nil, ""
	},
	func(t *teller) ([]Said, string) { // more lost than born
		if l := t.counted(); l != nil {
			return []Said{t.say("lost", l, kits(30), why("chilled"))}, "were left"
		}
		return nil, ""
	},
	func(t *teller) ([]Said, string) { // a litter in a nest that holds another
		if l := t.counted(); l != nil && l.nest.carried == nil && l.nest.unsure == 0 {
			return []Said{t.say("kindled", nil, in(l.nest), kits(5))}, "holds litter"
		}
		return nil, ""
	},
	func(t *teller) ([]Said, string) { // moved on top of another
		l, o := t.counted(), t.counted()
		if l == nil || l == o || l.nest.unsure+o.nest.unsure > 0 {
			return nil, ""
		}
		return []Said{t.say("moved", l, to(o.nest.ID))}, "holds litter"
	},
	func(t *teller) ([]Said, string) { // a date in the future
		if l := t.grown(); l != nil {
			return []Said{t.say("weaned", l, on(t.day+between(t.r, 2, 400)))}, "in the future"
		}
		return nil, ""
	},
	func(t *teller) ([]Said, string) { // a second breeding of a doe
		if l := t.carried(); l != nil {
			if n := t.freeBox(); n != nil {
				return []Said{t.say("bred", nil, in(n), func(s *Said) { s.Doe = l.Doe })}, "is bred already"
			}
		}
		return nil, ""
	},
	func(t *teller) ([]Said, string) { // a nest kept for another
		if l := t.carried(); l != nil {
			return []Said{t.say("bred", nil, in(l.nest), func(s *Said) { s.Doe = "Nobody's" })}, "is kept for litter"
		}
		return nil, ""
	},
	func(t *teller) ([]Said, string) { // a nest that nobody has
		return []Said{t.say("kindled", nil, kits(5), func(s *Said) { s.Nest = "oak-99" })}, "\"oak-99\""
	},
	func(t *teller) ([]Said, string) { // kindled twice
		if l := t.counted(); l != nil {
			s := t.say("kindled", l, kits(5))
			s.ByNest = false
			return []Said{s}, "already kindled"
		}
		return nil, ""
	},
	func(t *teller) ([]Said, string) { // more weaned than there are
		if l := t.grown(); l != nil {
			return []Said{t.say("weaned", l, kits(29))}, "were left"
		}
		return nil, ""
	},
	func(t *teller) ([]Said, string) { // after the end
		if l := one(t.r, t.Litters); l.Failed {
			s := t.say("kindled", l, on(l.Ended), kits(5))
			s.ByNest = false
			return []Said{s}, "is did-not-kindle since"
		}
		return nil, ""
	},
	func(t *teller) ([]Said, string) { // a cause that the book does not know
		if l := t.counted(); l != nil {
			return []Said{t.say("lost", l, kits(1), why("bad luck"))}, "dragged-out"
		}
		return nil, ""
	},
	func(t *teller) ([]Said, string) { // one good and one bad
		if l := t.grown(); l != nil {
			return []Said{t.say("lost", l, kits(1), why("other")), t.say("weaned", l, kits(29))}, "were left"
		}
		return nil, ""
	},
	func(t *teller) ([]Said, string) { // before it was born
		if l := t.counted(); l != nil {
			return []Said{t.say("lost", l, kits(1), why("other"), on(l.Kindled-3))}, "was born"
		}
		return nil, ""
	},
}

// nonsenseDays is how often the keeper tries something that cannot be.
const nonsenseDays = 3

// tryNonsense writes now and then what has to be refused.
func (t *teller) tryNonsense() {
	if t.day%nonsenseDays != 0 || len(t.Litters) == 0 {
		return
	}
	if said, reason := one(t.r, nonsense)(t); said != nil {
		t.Steps = append(t.Steps, Step{Day: t.day, Hour: t.hour, Said: said, Refused: reason})
	}
}

// carried is a litter that a doe carries, of which nothing is written wrongly.
func (t *teller) carried() *Litter {
	return t.pick(func(n *Nest) *Litter { return n.carried })
}

// counted is a litter whose kits are in a nest and were counted.
func (t *teller) counted() *Litter { return t.older(1) }

// grown is one of an age at which kits are weaned somewhere.
func (t *teller) grown() *Litter { return t.older(20) }

func (t *teller) older(days Day) *Litter {
	return t.pick(func(n *Nest) *Litter {
		if l := n.kits; l != nil && l.Born > 0 && len(l.in) > 1 && l.Kindled < t.day-days {
			return l
		}
		return nil
	})
}

func (t *teller) pick(of func(n *Nest) *Litter) *Litter {
	var all []*Litter
	for _, n := range t.Nests {
		if l := of(n); l != nil && n.unsure == 0 {
			all = append(all, l)
		}
	}
	if len(all) == 0 {
		return nil
	}
	return one(t.r, all)
}
