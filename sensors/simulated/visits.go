package simulated

import "time"

func (n *nest) visit(at time.Duration, now time.Time, nursing bool) {
	n.doe.comes(at, nursing)
	if !nursing {
		n.note(now, Visited)
		return
	}
	n.note(now, Nursed)
	if n.litter.kits > 0 && n.litter.alive {
		n.litter.nurse()
		n.water += n.litter.kits * (2 + 0.25*n.litter.age) // g of urine
	}
}

func (n *nest) look(at time.Duration, now time.Time) {
	n.doe.lookUntil = at + seconds(uniform(n.doe.r, lookMin, lookMax))
	n.note(now, LookedIn)
}

// comings lets the doe and the keeper come and go.
func (n *nest) comings(at time.Duration, dt float64, now time.Time, hour float64, starved bool) {
	d := &n.doe
	switch {
	case n.litter.kits > 0:
		if !starved && at >= d.until {
			n.comeToKits(at, dt, now, hour)
		} else if starved && at >= d.next {
			d.plan(at, hour, 12)
		}
		n.comfort(at)
	case n.mating != never && at-n.mating >= sitsFrom && at-n.mating < givesUp:
		if d.sits(at, n.birth, dt) {
			n.note(now, Sat)
		}
	}
	if d.r.Float64() < looksIn*dt/36000 && hour >= 8 && hour < 18 && at >= d.lookUntil {
		n.look(at, now)
	}
	if at < d.lookUntil {
		n.lid = true
		n.cover = min(n.cover, lookCover)
	}
	n.box.doe = at < d.until
}

// comeToKits begins the visits that are due.
func (n *nest) comeToKits(at time.Duration, dt float64, now time.Time, hour float64) {
	d := &n.doe
	short := d.r.Float64() < shortVisits*dt/86400
	switch {
	case at >= d.next:
		n.visit(at, now, true)
		d.plan(at, hour, 12)
		d.second = never
		if d.r.Float64() < secondNursing {
			d.second = at + seconds(3600*uniform(d.r, 8, 16))
		}
	case at >= d.second:
		n.visit(at, now, true)
		d.second = never
	case short:
		n.visit(at, now, false)
	}
}

// comfort is what visits, past, present and expected, do to the cover and to how close the kits lie.
func (n *nest) comfort(at time.Duration) {
	d := &n.doe
	switch {
	case at < d.until:
		if d.left != d.until {
			d.left, d.before = d.until, n.cover
		}
		n.cover, d.regroup = min(n.cover, d.cover), d.nursing
	case d.regroup:
		d.regroup, d.spread = false, dispersed*d.r.Float64()
		n.cover = max(n.cover, min(afterCover, d.before))
	}
	if away := at - d.left; away >= 0 && away < dispersal && d.spread > 0 {
		n.scatter = max(n.scatter, d.spread*(1-away.Seconds()/dispersal.Seconds()))
	}
	if d.next-at < expecting && d.next >= at {
		n.target *= expectingCover
	}
}
