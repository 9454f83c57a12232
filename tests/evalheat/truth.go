package main

import (
	"time"

	"nestmon/sensors/simulated"
)

// What counts as truth, of the core that no probe sees: the study's own limits, not the daemon's.
const (
	chillLasts  = 30 * time.Minute
	chillSpared = time.Hour // after birth: kits are born wet
	chillEnds   = 1.0       // K above the limit
	deepBelow   = 28.0      // °C
	heatAbove   = 40.0      // °C
	heatLasts   = 10 * time.Minute
	heatEnds    = 39.5 // °C
	killedByHot = 43.0 // °C of a core that died: of heat
)

// chillBelow is the core, °C, under which kits of that age, days, are chilled.
func chillBelow(age float64) float64 {
	switch {
	case age < 7:
		return 33
	case age < 12:
		return 30
	}
	return 27
}

// danger is something that truly went wrong with the kits.
type danger struct {
	onset, end time.Time
	deep       bool
	cause      string
}

// labels turns what truly is into dangers. See is called in order of time.
type labels struct {
	born         time.Time
	chill, heat  episode
	chills, hots []danger
	died         time.Time
	killedByHeat bool
}

// episode is a danger that may be going on.
type episode struct {
	since time.Time
	on    bool
	now   danger
}

// step returns the danger that has ended, if one has.
func (e *episode) step(t time.Time, beyond, back bool, lasts time.Duration) (ended danger, ok bool) {
	switch {
	case e.on && back:
		e.on, e.since = false, time.Time{}
		e.now.end = t
		return e.now, true
	case e.on:
	case !beyond:
		e.since = time.Time{}
	case e.since.IsZero():
		e.since = t
	case t.Sub(e.since) >= lasts:
		e.on, e.now = true, danger{onset: e.since}
	}
	return danger{}, false
}

func (l *labels) see(t simulated.Truth) {
	if t.Kits == 0 {
		return
	}
	if !t.Alive && l.died.IsZero() {
		l.died, l.killedByHeat = t.Time, t.Core > killedByHot
	}
	limit := chillBelow(t.Age)
	cold := t.Core < limit && !l.killedByHeat && t.Time.Sub(l.born) >= chillSpared
	warm := t.Core > limit+chillEnds && t.Alive // the dead stay cold: one danger, however warm the next day is
	if d, ok := l.chill.step(t.Time, cold, warm || l.killedByHeat, chillLasts); ok {
		l.chills = append(l.chills, d)
	}
	l.chill.now.deep = l.chill.now.deep || l.chill.on && t.Core < deepBelow
	hot := t.Core > heatAbove && (t.Alive || l.killedByHeat)
	if d, ok := l.heat.step(t.Time, hot, t.Core < heatEnds, heatLasts); ok {
		l.hots = append(l.hots, d)
	}
}

// close ends what is still going on.
func (l *labels) close(t time.Time) {
	if l.chill.on {
		l.chill.now.end = t
		l.chills = append(l.chills, l.chill.now)
	}
	if l.heat.on {
		l.heat.now.end = t
		l.hots = append(l.hots, l.heat.now)
	}
}
