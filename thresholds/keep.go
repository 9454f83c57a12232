package thresholds

import (
	"fmt"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/keep"
)

// Save returns all that the rabbitry remembers, and with it what more lists, such as the screen's memory. It reads nothing else and
// changes nothing.
func (r *Rabbitry) Save(more ...any) []byte {
	return keep.Write(r.cfg.Location, append(r.state(), more...))
}

// Load puts back what Save returned, into a rabbitry of the same configuration and a list of the same kind. From then on it goes on
// as the other one would have. After an error nothing has changed.
func (r *Rabbitry) Load(state []byte, more ...any) error {
	return keep.Read(r.cfg.Location, state, append(r.state(), more...))
}

// state lists everything the rabbitry remembers. What one nest remembers is listed in nest/keep.go.
func (r *Rabbitry) state() []any {
	plain := r.cfg
	plain.Location = nil          // a pointer says nothing
	plain.Limits = brood.Tables{} // which may change while it runs, see SetLimits
	all := []any{
		keep.Mark(fmt.Sprintf("%s %+v", r.cfg.Location, plain)), &r.book, &r.turnover, &r.now.Wall, &r.now.Mono, &r.last, &r.started, &r.resumed,
	}
	for i := range r.faults {
		f := &r.faults[i]
		all = append(append(all, keep.Mark(faultNames[i]), &f.now, &f.text), f.slot.State()...)
	}
	all = append(all, r.channels.State()...)
	all = append(all, r.site.State()...)
	for _, w := range r.nests {
		all = append(all, w.State()...)
	}
	return all
}

// Seen is the time of the newest poll, zero before the first.
func (r *Rabbitry) Seen() time.Time { return r.last }

// Resume takes what stood when the daemon last stored it. Call it after Load, when the archive's later readings have been observed.
// The time until the next poll is then time in which nobody asked: it makes no probe silent.
func (r *Rabbitry) Resume(stored []alarm.Standing) {
	r.resumed = true
	r.site.Resume(stored)
	for _, w := range r.nests {
		w.Resume(stored)
	}
	for i := range r.faults {
		r.faults[i].slot.Agree(alarm.Find(stored, "", faultNames[i]))
	}
}
