package yearstest

// care is the day's care of nests with kits, as far as the keeper marks it.
func (t *teller) care() {
	for _, n := range t.Nests {
		l := n.kits
		if l == nil || l.Ended != None {
			continue
		}
		age := t.day - l.Kindled
		did := func(name string, p float64) {
			if chance(t.r, p*t.marks) {
				l.marked[name] = t.day
				t.write(t.say("did", nil, in(n), chore(name), hour(t.hour)))
			}
		}
		switch {
		case age == 14 || age == 21 || age > 21 && age%3 == 0:
			did("bedding-due", 0.6)
		case age%4 == 1:
			did("inspect-due", 0.7)
		}
		if n.Kind == "buried-tote" {
			continue
		}
		out := Day(28)
		if t.day.season(t.South) == "summer" {
			out = 21
		}
		switch age {
		case 14:
			did("turn-box-due", 0.7)
		case 16:
			did("turn-box-due", 0.2) // late, or again
		case out:
			did("remove-box-due", 0.7)
		}
		if chance(t.r, 0.01) {
			t.write(t.say("noted", nil, in(n), func(s *Said) { s.Note = one(t.r, notes) }))
		}
	}
}

var notes = []string{
	"full bellies, all warm", "one runt; rubbed and put in the middle", "doe calm, took her treat", "comma, \"quotes\" and a — dash", "größer als gedacht, 40 % mehr", "=2+3", "fur short, added some of last year's",
}

// frost carries boxes with young kits indoors for the night.
func (t *teller) frost() {
	if t.day.season(t.South) != "winter" {
		return
	}
	if t.cold < t.day {
		if !chance(t.r, 0.06) {
			return
		}
		t.cold = t.day + between(t.r, 0, 3)
	}
	for _, n := range t.Nests {
		if n.kits == nil || n.Kind == "buried-tote" || t.day-n.kits.Kindled > 14 || len(n.kits.in) == 0 {
			continue
		}
		t.write(t.say("carried-in", nil, in(n), hour(t.hour)))
		t.later(t.day+1, 7, func() { t.write(t.say("carried-out", nil, in(n), hour(t.hour))) })
	}
}
