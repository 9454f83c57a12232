package phone_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"nestmon/exporter/phone"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

// TestNoTwoCallsShareAnID lets alarms come and go, be shelved and be answered at random, and looks at the id of every message: whatever has
// the id of a message before it is taken for that one. Written twice, a message has the same.
func TestNoTwoCallsShareAnID(t *testing.T) {
	names := []alarm.Name{alarm.NestHeat, alarm.ToteWet, alarm.BoxDue}
	cfg := phone.Config{Channels: []phone.Channel{{Name: "mobile", AtLeast: alarm.Notice}}, AllWell: "08:00"}
	seen, kinds := map[string]string{}, map[string]int{}
	for seed := range uint64(6) {
		dice := rand.New(rand.NewPCG(seed, 1))
		panel, desk := alarm.Panel{}, calls.New(cfg.Plan(time.UTC), calls.State{})
		on := map[string]alarm.Standing{}
		now := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, int(seed)*10)
		for range 2000 {
			now = now.Add(2 * time.Minute)
			changes := panel.Pass(2 * time.Minute)
			for range dice.IntN(4) * dice.IntN(2) {
				nest, name := fmt.Sprintf("n%d", dice.IntN(8)), names[dice.IntN(len(names))]
				at := nest + string(name)
				e := alarm.Event{Time: now, Since: now, Nest: nest, Name: name, State: alarm.Raised, Severity: alarm.Notice + alarm.Severity(dice.IntN(3))}
				st, known := on[at]
				switch what := dice.IntN(10); {
				case known && what < 3:
					if all, err := panel.Do(alarm.Act{Action: alarm.Actions[dice.IntN(len(alarm.Actions))], Nest: nest, Event: name, For: 10 * time.Minute, At: now}); err == nil {
						changes = append(changes, all...)
					}
					continue
				case known && what < 6:
					e, e.State = st.Event, alarm.Cleared
					delete(on, at)
				case known && e.Severity <= st.Severity:
					continue
				default:
					on[at] = alarm.Standing{Event: e}
				}
				if e.Time = now; e.State == alarm.Cleared {
					e.Since = st.Since
				}
				if c, ok := panel.Take(e); ok {
					changes = append(changes, c)
				}
			}
			var rules []alarm.Standing
			for _, st := range on {
				rules = append(rules, st)
			}
			standing, _ := panel.Merge(rules)
			for _, c := range desk.Step(calls.Now{Wall: now, Passed: 2 * time.Minute}, changes, nil, standing) {
				m := phone.Writer{Config: cfg}.Write(c, now, thresholds.Snapshot{})
				is := fmt.Sprint(m.Time, c.Why, m.Title)
				if was, twice := seen[m.ID]; twice {
					t.Fatalf("seed %d: %q has the id of %q", seed, is, was)
				}
				if again := (phone.Writer{Config: cfg}).Write(c, now, thresholds.Snapshot{}); again.ID != m.ID {
					t.Fatalf("seed %d: %q has two ids", seed, is)
				}
				seen[m.ID] = is
				kinds[string(m.Kind)]++
			}
		}
	}
	for _, kind := range []string{"alarm", "repeat", "storm", "digest", "all-well"} {
		if kinds[kind] < 10 {
			t.Errorf("only %d messages of kind %s", kinds[kind], kind)
		}
	}
}
