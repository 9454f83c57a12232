package thresholds_test

import (
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/nest"
)

// lived is a nest of which every value is told, with limits that change while it runs.
type lived struct {
	t      *testing.T
	r      *thresholds.Rabbitry
	half   int
	events []alarm.Event
}

func newLived(t *testing.T) *lived {
	t.Helper()
	r := made(t, probes(), nest.Config{ID: "oak", Kind: brood.WoodenBox, Cluster: []string{"cluster"}, Air: "air"})
	r.SetLitters(newborn(2), start)
	return &lived{t: t, r: r}
}

func (l *lived) now() time.Time { return start.Add(time.Duration(l.half) * 30 * time.Second) }

// live lets so many minutes pass and returns what changed in them.
func (l *lived) live(minutes int, air, cluster float64) []alarm.Event {
	from := len(l.events)
	for range 2 * minutes {
		at := l.now()
		l.half++
		var batch []sensors.Reading
		for id, c := range map[string]float64{"air": air, "cluster": cluster, "shade": 12} {
			batch = append(batch, sensors.Reading{Probe: id, Quantity: sensors.Temperature, Time: at, Value: sensors.Temperature.Quantise(c + dusty(l.half))})
		}
		l.events = append(l.events, l.r.Observe(at, batch)...)
	}
	return l.events[from:]
}

// limit sets one limit of the youngest kits and returns what stands at once.
func (l *lived) limit(p brood.Place, key string, c float64) {
	l.t.Helper()
	all := brood.Settings{{Place: p, Key: key, From: 0, To: 3, C: c, By: "anna", At: l.now()}}
	all.Validate(brood.DefaultTables(), func(_ int, problem string) { l.t.Fatal(problem) })
	l.r.SetLimits(all.Over(brood.DefaultTables()))
}

// A standing alarm ends under a new limit by its deadband and its time, neither at once nor never.
func TestStandingHeatEndsByANewLimit(t *testing.T) {
	l := newLived(t)
	want(t, l.live(60, 31, 37), alarm.NestHeat, alarm.Raised, alarm.Warning, 1)
	l.limit(brood.NestAir, "heat_warn", 31.5) // 31 is not back by the deadband
	want(t, l.live(60, 31, 37), alarm.NestHeat, alarm.Cleared, alarm.Notice, 0)
	l.limit(brood.NestAir, "heat_warn", 32.5)
	if !standing(l.r, alarm.NestHeat) {
		t.Error("the alarm is over because a limit was written")
	}
	want(t, l.live(1, 31, 37), alarm.NestHeat, alarm.Cleared, alarm.Notice, 0)
	want(t, l.live(10, 31, 37), alarm.NestHeat, alarm.Cleared, alarm.Notice, 1)
	if s := l.r.Snapshot().Nests[0].Limits; *s.AirHot != 32.5 {
		t.Errorf("in force is %v", *s.AirHot)
	}
}

// Under a stricter limit an alarm comes after its delay, counted from the change; a delay that ran against the old one is not counted.
func TestNewLimitHasItsDelay(t *testing.T) {
	l := newLived(t)
	want(t, l.live(120, 28, 37), alarm.NestHeat, alarm.Raised, alarm.Notice, 0)
	l.limit(brood.NestAir, "heat_warn", 27)
	want(t, l.live(19, 28, 37), alarm.NestHeat, alarm.Raised, alarm.Notice, 0)
	want(t, l.live(4, 28, 37), alarm.NestHeat, alarm.Raised, alarm.Warning, 1)

	l = newLived(t)
	l.live(60, 25, 37)
	l.live(15, 30.5, 37) // of 20 min over 30
	l.limit(brood.NestAir, "heat_warn", 31)
	l.live(2, 30.8, 37)
	want(t, l.live(18, 31.2, 37), alarm.NestHeat, alarm.Raised, alarm.Notice, 0)
	want(t, l.live(5, 31.2, 37), alarm.NestHeat, alarm.Raised, alarm.Warning, 1)
}

// A delay that runs runs on where the value is beyond the new limit too: writing limits must not put an alarm off.
func TestNewLimitPutsNoAlarmOff(t *testing.T) {
	l := newLived(t)
	l.live(60, 25, 37)
	l.live(15, 33, 37)
	l.limit(brood.NestAir, "heat_warn", 31)
	want(t, l.live(7, 33, 37), alarm.NestHeat, alarm.Raised, alarm.Warning, 1)
}

// A chill that stands does not end because its limit was lowered, unless the pile is well by the new one; what was learned stays.
func TestStandingChillUnderANewLimit(t *testing.T) {
	l := newLived(t)
	l.live(6*60, 12, 34)
	for c := 34.0; c > 22; c -= 0.5 {
		l.live(10, 12, c)
	}
	if !standing(l.r, alarm.ClusterChill) {
		t.Fatal("no chill stands")
	}
	l.limit(brood.Cluster, "chill_warn", 33)
	want(t, l.live(30, 12, 22), alarm.ClusterChill, alarm.Cleared, alarm.Notice, 0)
	if !standing(l.r, alarm.ClusterChill) {
		t.Error("a lower limit ended a chill that it is still under")
	}
}

// A state kept under other limits is taken up: limits are no part of what a nest is.
func TestStateOutlivesALimit(t *testing.T) {
	l := newLived(t)
	l.live(60, 31, 37)
	state := l.r.Save()
	other := newLived(t)
	other.limit(brood.NestAir, "heat_warn", 32.5)
	if err := other.r.Load(state); err != nil {
		t.Fatal(err)
	}
	if !standing(other.r, alarm.NestHeat) {
		t.Error("what stood is forgotten")
	}
	other.half = l.half
	want(t, other.live(10, 31, 37), alarm.NestHeat, alarm.Cleared, alarm.Notice, 1)
}
