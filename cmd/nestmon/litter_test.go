package main

import (
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

// did marks a chore as done.
func (d *daemon) did(now time.Time, nest string, chore alarm.Name) error {
	_, _, err := d.enter(now, []book.Entry{{What: book.Did, Nest: nest, Chore: chore}})
	return err
}

func TestWeakSupplyIsSaid(t *testing.T) {
	s := newShed(t)
	events, _ := s.live(t, demoStart, demoStart.Add(5*time.Minute), func(d *daemon) { d.power = func() bool { return true } })
	if !found(events, "", alarm.PowerFault, alarm.Raised, alarm.Warning, demoStart, demoStart.Add(time.Hour)) {
		t.Errorf("no power-fault: %v", events)
	}
}
