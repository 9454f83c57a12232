package main

import (
	"time"
)

// stretch is a range of polls.
type stretch struct{ from, to time.Time }

// placed takes from the archive that polls were given their true times.
func (d *daemon) placed(polls int, from, to time.Time) {
	d.log.Info("the clock is known; what was measured before has its time now", "polls", polls, "from", from, "to", to)
	d.timed.Store(&stretch{from, to.Add(time.Second)})
}

// sendPlaced sends them to whoever is owed readings and was not sent these, because they had no time.
func (d *daemon) sendPlaced() {
	s := d.timed.Swap(nil)
	if s == nil {
		return
	}
	for _, p := range d.sinks.pumps {
		err := d.card.write(func() error { // which notes what is to be sent, and may hang
			_, err := p.Resend(s.from, s.to)
			return err
		})
		if err != nil {
			d.log.Warn("what was measured before the clock was known is not sent yet; later: nestmon backfill", "sink", p.Name(),
				"from", s.from.Format(time.RFC3339), "to", s.to.Format(time.RFC3339), "err", err)
		}
	}
}

// clockSet lets the decisions take the step of a clock that is set as time in which nobody asked: it makes no probe silent.
func (d *daemon) clockSet(trusted bool) {
	was := d.unset
	if d.unset = !trusted; !was || !trusted {
		return
	}
	d.judge.rabbitry.Resume(d.judge.rabbitry.Standing())
}
