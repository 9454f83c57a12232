package yearstest

import (
	"math"
	"slices"
)

// lose is the evening on which the day's dead kits are written down.
func (t *teller) lose() {
	for _, l := range t.Litters {
		if len(l.in) == 0 || l.Weaned != None || l.Collected == t.day {
			continue // what dies on the day of a count is not told from what died before it
		}
		dead := map[string]int{}
		l.in = slices.DeleteFunc(l.in, func(k *Kit) bool {
			if k.Dies == None || k.Dies > t.day {
				return false
			}
			dead[cause(t.r, t.kindOf(l), t.day.season(t.South), t.day-k.Born)]++
			return true
		})
		for _, c := range Causes {
			if dead[c] == 0 {
				continue
			}
			l.Changes = append(l.Changes, Change{t.day, -dead[c]})
			l.Lost[c] += dead[c]
			lost := t.say("lost", l, kits(dead[c]), why(c))
			switch wrong := lost; {
			case len(l.in) > 0 && c != "other" && chance(t.r, mistaken):
				wrong.Cause = "other"
				t.correct(wrong, lost)
			case len(l.in) > 0:
				l.owed++
				t.writeLater(func() { l.owed-- }, lost)
			default:
				t.write(lost)
			}
		}
		if len(dead) == 0 {
			continue
		}
		if len(l.in) > 0 {
			if chance(t.r, mistaken) { // written for the wrong nest, and taken back
				t.wrongNest(l)
			}
			continue
		}
		if l.Born == Unsaid {
			t.write(t.say("ended", l))
		}
		t.gone(l)
	}
}

func (t *teller) kindOf(l *Litter) string {
	if l.nest == nil {
		return "wooden-box"
	}
	return l.nest.Kind
}

func (t *teller) wrongNest(l *Litter) {
	for _, n := range t.Nests {
		if o := n.kits; o != nil && o != l && o.Born != Unsaid && len(o.in) > 3 && o.Kindled < t.day-1 {
			t.strike(t.say("lost", o, kits(1), why("crushed")))
			return
		}
	}
}

// foster gives kits of a large litter to a small one born within three days.
func (t *teller) foster(l *Litter) {
	if len(l.in) < 9 || l.nest.unsure > 0 || l.owed > 0 {
		return
	}
	for _, n := range t.Nests {
		o := n.kits
		if o == nil || o == l || o.Born == Unsaid || n.unsure > 0 || len(o.in) == 0 || len(o.in) > 6 || o.Kindled < l.Kindled-3 || o.Ended != None {
			continue
		}
		few := int(between(t.r, 1, 3))
		moved := l.in[:few]
		l.in, o.in = slices.Clone(l.in[few:]), append(o.in, moved...)
		l.Changes = append(l.Changes, Change{t.day, -few})
		o.Changes = append(o.Changes, Change{t.day, few})
		t.write(t.say("fostered-out", l, kits(few), with(o)), t.say("fostered-in", o, kits(few), with(l)))
		return
	}
}

func (t *teller) weigh(l *Litter) {
	if len(l.in) == 0 || l.Ended != None || l.owed > 0 {
		return
	}
	each := grams(t.r, t.day-l.Kindled)
	said := t.say("weighed", l, kits(len(l.in)), weight(math.Round(each*float64(len(l.in)))))
	if chance(t.r, 0.3) { // one of them
		said.Kits, said.Grams = Unsaid, math.Round(each)
	}
	l.Grams[t.day] = said.Grams
	if wrong := said; chance(t.r, mistaken) {
		wrong.Grams = math.Round(wrong.Grams * 10)
		t.correct(wrong, said)
		return
	}
	t.writeLater(func() {}, said)
}

// count is how many kits the keeper counts as a litter leaves, or nothing.
func (t *teller) count(l *Litter) int {
	if l.Born != Unsaid && chance(t.r, 0.1) {
		return Unsaid
	}
	return len(l.in)
}

func (t *teller) collect(l *Litter, wean Day) {
	if l.Ended != None {
		return
	}
	l.Collected = t.day
	said := t.say("collected", l, kits(t.count(l)))
	if l.Born == Unsaid {
		said.Kits = Unsaid
	}
	switch free := t.freeBox(); {
	case free != nil && chance(t.r, 0.5):
		said.To = free.ID
		t.lie(l, free)
		l.leaves = l.Kindled + wean
	case chance(t.r, 0.4):
		said.To = "hutch-" + string(rune('a'+t.r.IntN(6))) // where others may live already
		t.leave(l)
		l.Stays = append(l.Stays, Stay{said.To, t.day, None})
		l.nest = nil
	default:
		t.leave(l)
		l.nest = nil
	}
	t.write(said)
}

// freeBox is a box that is nobody's.
func (t *teller) freeBox() *Nest {
	var free []*Nest
	for _, n := range t.Nests {
		if n.Kind != "buried-tote" && n.carried == nil && n.kits == nil && n.unsure == 0 {
			free = append(free, n)
		}
	}
	if len(free) == 0 {
		return nil
	}
	return one(t.r, free)
}

func (t *teller) move(l *Litter) {
	n := t.freeBox()
	if n == nil || l.Ended != None || l.nest.unsure > 0 {
		return
	}
	said := t.say("moved", l, to(n.ID))
	t.lie(l, n)
	t.write(said)
}

func (t *teller) wean(l *Litter) {
	if l.Ended != None {
		return
	}
	n := len(l.in)
	end := t.say("weaned", l, kits(t.count(l)))
	if chance(t.r, 0.05) {
		end = t.say("ended", l)
	} else {
		l.Weaned = t.day
	}
	t.end(l)
	t.write(end)
	l.in = nil
	kept := min(n, int(between(t.r, 0, 2)))
	if kept > 0 {
		l.Kept += kept
		t.write(t.after(l, "kept", kept))
	}
	if n > kept {
		t.at(t.day+between(t.r, 5, 25), 19, func() {
			l.Sold += n - kept
			t.writeLater(func() {}, t.after(l, "sold", n-kept))
		})
	}
	t.at(t.day+between(t.r, 1, 12), 17, func() { t.again(l) })
}

// after is something that happens to kits that have left their nest.
func (t *teller) after(l *Litter, what string, n int) Said {
	s := t.say(what, l, kits(n))
	s.Nest = ""
	return s
}
