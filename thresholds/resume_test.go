package thresholds_test

import (
	"slices"
	"testing"
	"time"

	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// again is a rabbitry that goes on where r stood, with what was stored of its alarms.
func again(t *testing.T, r *thresholds.Rabbitry, stored []alarm.Standing) *thresholds.Rabbitry {
	t.Helper()
	next := rabbitry(t, brood.WoodenBox)
	if err := next.Load(r.Save()); err != nil {
		t.Fatal(err)
	}
	next.SetLitters(newborn(5), start)
	next.Resume(stored)
	return next
}

// Time off makes no probe silent, however long it was; one that does not answer afterwards is, and one that was silent stays it.
func TestTimeOffAfterALoadedState(t *testing.T) {
	for _, c := range []struct {
		name          string
		off           time.Duration
		before, after func(m int) float64 // nest air
		urgent        int
		over          int // silences that end
	}{
		{"a second, all well", time.Second, constant(20), constant(20), 0, 0},
		{"a missed poll", 80 * time.Second, constant(20), constant(20), 0, 0},
		{"minutes", 6 * time.Minute, constant(20), constant(20), 0, 0},
		{"hours", 4 * time.Hour, constant(20), constant(20), 0, 0},
		{"three days", 72 * time.Hour, constant(20), constant(20), 0, 0},
		{"a clock that is hours behind", -3 * time.Hour, constant(20), constant(20), 0, 0},
		{"a clock that is weeks behind", -21 * 24 * time.Hour, constant(20), constant(20), 0, 0},
		{"hours, and one does not answer", 4 * time.Hour, constant(20), nothing, 1, 0},
		{"seconds, and one does not answer", time.Second, constant(20), nothing, 1, 0},
		{"hours, silent before and after", 4 * time.Hour, nothing, nothing, 0, 0},
		{"minutes, silent before and after", 6 * time.Minute, nothing, nothing, 0, 0},
		{"hours, silent before", 4 * time.Hour, nothing, constant(20), 0, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := rabbitry(t, brood.WoodenBox)
			r.SetLitters(newborn(5), start)
			tr := trace{minutes: 60, air: c.before, cluster: constant(36), outside: constant(-5)}
			tr.through(r)
			r = again(t, r, r.Standing())
			tr.from, tr.air = start.Add(time.Hour-30*time.Second+c.off), c.after
			events := tr.through(r)
			want(t, events, alarm.ProbeSilent, alarm.Raised, alarm.Urgent, c.urgent)
			want(t, events, alarm.ProbeSilent, alarm.Cleared, alarm.Notice, c.over)
			for _, name := range []alarm.Name{alarm.ClusterChill, alarm.NestHeat, alarm.CheckNest, alarm.NestCold} {
				want(t, events, name, alarm.Raised, alarm.Notice, 0)
			}
		})
	}
}

// The alarms that stood when they were stored are what people were told: the rest of the state may be minutes older, or newer where
// they could not be stored.
func TestWhatWasToldStandsAfterALoadedState(t *testing.T) {
	hot := trace{minutes: 90, air: constant(36), cluster: constant(37), outside: constant(30)}
	r := rabbitry(t, brood.WoodenBox)
	r.SetLitters(newborn(5), start)
	hot.through(r)
	stands := alarm.Find(r.Standing(), "oak", alarm.NestHeat)
	if stands.Severity != alarm.Urgent {
		t.Fatalf("36 °C is not urgent: %v", r.Standing())
	}
	seen, lower := stands, stands
	seen.Status, seen.Acknowledged, seen.By = alarm.Acknowledged, start.Add(time.Hour), "ann"
	lower.Severity = alarm.Warning
	chilled := stood(alarm.ClusterChill, alarm.Urgent)[0]
	for name, c := range map[string]struct {
		stored []alarm.Standing
		raised int // events about heat
	}{
		"as remembered":        {[]alarm.Standing{stands}, 0},
		"seen meanwhile":       {[]alarm.Standing{seen}, 0},
		"told as a warning":    {[]alarm.Standing{lower}, 1},
		"never told":           {nil, 1},
		"and told of a chill":  {[]alarm.Standing{stands, chilled}, 0},
		"seen, and of a chill": {[]alarm.Standing{seen, chilled}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			next := again(t, r, c.stored)
			after := hot
			after.minutes, after.from = 10, start.Add(90*time.Minute)
			events := after.through(next)
			want(t, events, alarm.NestHeat, alarm.Raised, alarm.Urgent, c.raised)
			want(t, events, alarm.ClusterChill, alarm.Cleared, alarm.Notice, 0)
			st := alarm.Find(next.Standing(), "oak", alarm.NestHeat)
			if st.Severity != alarm.Urgent || st != (alarm.Standing{Event: st.Event}) { // what people did is the panel's
				t.Errorf("stands as %+v", st)
			}
			if told := slices.Contains(c.stored, chilled); told != (alarm.Find(next.Standing(), "oak", alarm.ClusterChill).Severity == alarm.Urgent) {
				t.Errorf("told of a chill: %v, stands: %v", told, next.Standing())
			}
		})
	}
}

// A state for other probes or another nest is refused, and leaves the rabbitry as it was.
func TestStateOfAnotherRabbitryIsRefused(t *testing.T) {
	r := rabbitry(t, brood.WoodenBox)
	trace{minutes: 30, air: constant(20), cluster: constant(36), outside: constant(5)}.through(r)
	other := rabbitry(t, brood.MetalBox)
	fresh := other.Save()
	if err := other.Load(r.Save()); err == nil {
		t.Error("a wooden box's state was taken for a metal one's")
	}
	if !slices.Equal(other.Save(), fresh) {
		t.Error("half of it was taken")
	}
	if err := rabbitry(t, brood.WoodenBox).Load(r.Save()); err != nil {
		t.Errorf("the same rabbitry's: %v", err)
	}
}
