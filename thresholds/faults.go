package thresholds

import (
	"time"

	"nestmon/thresholds/alarm"
)

// fault is an alarm about the daemon itself, told from outside: a bus, a sink, the archive.
type fault struct {
	name alarm.Name
	now  alarm.Condition
	text string
	slot alarm.Slot
}

// Fault tells the rabbitry that a part of the daemon has failed, or with severity None that it works again. It becomes an event at
// the next minute. One fault of a name stands at a time; its text says what failed.
func (r *Rabbitry) Fault(name alarm.Name, severity alarm.Severity, since time.Time, text string) {
	f := r.fault(name)
	f.now, f.text = alarm.Condition{Severity: severity, Since: since}, text
}

func (r *Rabbitry) fault(name alarm.Name) *fault {
	for _, f := range r.faults {
		if f.name == name {
			return f
		}
	}
	f := &fault{name: name}
	r.faults = append(r.faults, f)
	return f
}

func (r *Rabbitry) stepFaults(events []alarm.Event) []alarm.Event {
	for _, f := range r.faults {
		e, changed := f.slot.Apply(r.now.Wall, "", f.name, f.now)
		if !changed {
			continue
		}
		if e.Text = f.text; e.State == alarm.Cleared {
			e.Text = string(f.name) + " is over."
		}
		f.slot.Say(e.Text)
		events = append(events, e)
	}
	return events
}

func (r *Rabbitry) acknowledgeFault(name alarm.Name, at time.Time) bool {
	return r.fault(name).slot.Acknowledge(at)
}

func (r *Rabbitry) restoreFaults(stored []alarm.Standing) {
	for _, st := range stored {
		switch st.Name {
		case alarm.BusFault, alarm.SinkFault, alarm.PowerFault, alarm.DaemonFault:
			f := r.fault(st.Name)
			f.slot.Restore(st)
		}
	}
}
