package thresholds

import "nestmon/thresholds/alarm"

// faultNames are the alarms about the daemon itself, told from outside; a low battery is found here.
var faultNames = [...]alarm.Name{alarm.BusFault, alarm.SinkFault, alarm.PowerFault, alarm.DaemonFault}

// fault is one of them.
type fault struct {
	now  alarm.Condition
	text string
	slot alarm.Slot
}

// Fault tells the rabbitry how a part of the daemon does: a severity when it has failed, None when it works, Hold while that is not
// known. It becomes an event at the next minute. One fault of a name stands at a time; its text says what failed and Count how many
// things, so that one more is told anew; c brings the rule and its source.
func (r *Rabbitry) Fault(name alarm.Name, c alarm.Condition, text string) {
	if f := r.fault(name); f != nil {
		f.now, f.text = c, text
	}
}

// Cut tells, after the readings of a poll, which probes hang on a line that answers nothing at all. The line has an alarm of its own and
// stands for them: the silence of a nest is then told only where it is urgent.
func (r *Rabbitry) Cut(probes []string) { r.channels.Cut(probes) }

func (r *Rabbitry) fault(name alarm.Name) *fault {
	for i, known := range faultNames {
		if known == name {
			return &r.faults[i]
		}
	}
	return nil
}

func (r *Rabbitry) stepFaults(events []alarm.Event) []alarm.Event {
	for i := range r.faults {
		f, name := &r.faults[i], faultNames[i]
		now, text := f.now, f.text
		if name == alarm.PowerFault {
			now, text = r.site.BatteryLow(&r.now, now, text, f.slot.Standing())
		}
		words := alarm.Words{Text: text, Rule: now.Rule, Source: now.Source}
		e, changed := f.slot.Apply(r.now.Wall, "", name, now, func(alarm.Condition) alarm.Words { return words })
		if changed {
			events = append(events, e)
		}
		if now.Severity != alarm.None {
			f.slot.Say(words)
		}
	}
	return events
}

// restoreFaults puts back what had failed. Whether it still does is not known until Fault says so.
func (r *Rabbitry) restoreFaults(stored []alarm.Standing) {
	for _, st := range stored {
		if f := r.fault(st.Name); f != nil && st.On() {
			f.now, f.text = alarm.Condition{Hold: true}, st.Text
			f.slot.Restore(st)
		}
	}
}
