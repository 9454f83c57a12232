package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/simulated"
	"nestmon/thresholds/alarm"
)

// trace prints the life of one litter as one rig saw it: a line every ten minutes and at every event. A nil trace prints nothing.
type trace struct {
	rig rig
	to  io.Writer
}

func (tr *trace) see(t time.Time, w *watcher, events []alarm.Event, state simulated.Truth) {
	if tr == nil || w.rig != tr.rig {
		return
	}
	for _, e := range events {
		if !e.Name.Chore() {
			fmt.Fprintf(tr.to, "%s   ** %s %s %s %.2f/%.2f %s %s\n", t.Format("01-02 15:04"), e.Name, e.State, e.Severity, e.Value, e.Limit, e.Unit, e.Probe)
		}
	}
	if t.Unix()%600 != 0 {
		return
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%s age %5.2f core %5.1f cover %.2f sc %.2f air %5.1f alive %v doe %v |", t.Format("01-02 15:04"), state.Age, state.Core, state.Cover, state.Scatter, state.Air, state.Alive, state.Doe)
	for _, r := range w.batch {
		if r.Quantity == sensors.Temperature {
			fmt.Fprintf(&b, " %s %.2f%s", strings.TrimPrefix(r.Probe, "nest-"), r.Value, r.Fault)
			if r.Suspect {
				b.WriteByte('?')
			}
		}
	}
	s := w.rabbitry.Snapshot().Nests[0]
	fmt.Fprintf(&b, " | est %.1f", s.Core)
	for _, j := range s.Judged {
		if j.Why != "" {
			fmt.Fprintf(&b, " %s: %s;", j.Danger, j.Why)
		}
	}
	fmt.Fprintln(tr.to, b.String())
}

// traceLitter prints one litter and what was true of it.
func traceLitter(to io.Writer, seed uint64, shifted bool, g rig) error {
	l := draw(seed, shifted)
	r, err := observe(l, g+1, &trace{g, to})
	if err != nil {
		return err
	}
	fmt.Fprintf(to, "SIMULATED litter %d: %s, %s, %d kits, scenario %q %v, instruments %+v swapped %v, born %v\n", seed, l.makeup, l.season, l.nest.Kits, l.scenario, l.fault, l.probes, l.swapped, l.born)
	for _, d := range r.chills {
		fmt.Fprintf(to, "chill %v to %v deep %v, %s\n", d.onset, d.end, d.deep, d.cause)
	}
	for _, d := range r.hots {
		fmt.Fprintf(to, "heat %v to %v, %s\n", d.onset, d.end, d.cause)
	}
	return nil
}
