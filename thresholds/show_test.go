package thresholds_test

import (
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
)

// A doe past her day is a call to the veterinarian: the nest is not free of alarms, as it is while a chore may wait.
func TestAChoreThatCannotWaitIsTheNestsAlarm(t *testing.T) {
	for _, row := range []struct {
		days int // after breeding
		want alarm.Severity
	}{{27, alarm.None}, {36, alarm.Warning}} {
		r := rabbitry(t, brood.WoodenBox)
		r.SetLitters([]litter.Litter{{ID: 1, Nest: "oak", Bred: start.AddDate(0, 0, -row.days)}}, start)
		for minute := range 30 {
			r.Observe(start.Add(time.Duration(minute)*time.Minute), nil)
		}
		s := r.Snapshot()
		worst := alarm.None
		for _, a := range s.Alarms {
			if a.Nest == "oak" && a.Name.Chore() {
				worst = max(worst, a.Severity)
			}
		}
		if got := s.Nests[0].Severity; got != row.want || worst == alarm.None {
			t.Errorf("day %d: %v, want %v; the worst chore is %v, of %v", row.days, got, row.want, worst, s.Alarms)
		}
	}
}
