package calls_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

// some are the alarms of random courses: of every kind that is treated differently.
var some = []alarm.Name{alarm.NestHeat, alarm.HeatExpected, alarm.ClusterChill, alarm.ToteWet, alarm.ProbeSilent, alarm.SinkFault, alarm.BoxDue, alarm.CheckNest}

func randomPlan(dice *rand.Rand) calls.Plan {
	p := calls.Plan{
		Repeat: time.Duration(2+dice.IntN(59)) * time.Minute, Escalate: 1 + dice.IntN(4), Digest: calls.Clock(dice.IntN(1440)), AllWell: calls.Clock(dice.IntN(1440)),
		Holds: alarm.Severity(dice.IntN(3)),
	}
	if dice.IntN(2) == 0 {
		p.Digest, p.AllWell = calls.Never, calls.Never
	}
	if dice.IntN(3) > 0 {
		from := dice.IntN(1440)
		p.Quiet = calls.Window{From: calls.Clock(from), To: calls.Clock((from + 60 + dice.IntN(660)) % 1440)}
	}
	for i := range 1 + dice.IntN(4) {
		p.Contacts = append(p.Contacts, calls.Contact{Name: fmt.Sprintf("c%d", i), AtLeast: notice + alarm.Severity(dice.IntN(3))})
	}
	return p
}

// happen has something happen, the same to every rig.
func happen(dice *rand.Rand, rigs []*rig) {
	nest, name := fmt.Sprintf("n%d", dice.IntN(6)), some[dice.IntN(len(some))]
	severity := notice + alarm.Severity(dice.IntN(3))
	action := alarm.Actions[dice.IntN(len(alarm.Actions))]
	contact, what, years := fmt.Sprintf("c%d", dice.IntN(4)), dice.IntN(100), 10*(2*dice.IntN(2)-1)
	for _, r := range rigs {
		st, on := r.on[nest+"/"+string(name)]
		switch {
		case what < 45 && (!on || severity > st.Severity):
			r.raise(nest, name, severity)
		case what < 45 && severity < st.Severity:
			r.fall(nest, name, severity)
		case what < 65 && on:
			r.clear(nest, name)
		case what < 70:
			r.note(alarm.Kindled, severity)
		case what < 85:
			if what%3 == 0 {
				name = ""
			}
			r.do(action, nest, name)
		case what < 90:
			r.deaf[contact] = !r.deaf[contact]
		case what < 95:
			because := alarm.BusFault
			if what%2 == 0 {
				because = ""
			}
			if severity < urgent && st.Severity < urgent { // an urgent alarm is told for itself
				if c, ok := r.panel.Suppress(nest, name, because); ok {
					r.changes = append(r.changes, c)
				}
			}
		case what == 99:
			r.wall = r.wall.AddDate(years, 0, 0)
		}
	}
}

// TestRandomCourses lets thousands of things happen to a panel and looks after every step at what may never be. A second desk is restarted
// after every step and must make the same calls.
func TestRandomCourses(t *testing.T) {
	for seed := range uint64(16) {
		dice := rand.New(rand.NewPCG(seed, 0))
		plan := randomPlan(dice)
		r, again := newRig(t, plan, noon), newRig(t, plan, noon)
		again.restarts = true
		w := newWatch(r)
		busy := 1 + dice.IntN(30) // so many things in a step at most
		for step := range 400 {
			for range dice.IntN(busy) {
				if dice.IntN(4) == 0 {
					happen(dice, []*rig{r, again})
				}
			}
			passes := time.Duration(30+dice.IntN(150)) * time.Second
			got, other := r.pass(passes), again.pass(passes)
			if same(t, r.made) != same(t, again.made) {
				t.Fatalf("seed %d, step %d: called %v, after a restart %v", seed, step, got, other)
			}
			if wrong := w.look(passes); wrong != "" {
				t.Fatalf("seed %d, step %d: %s", seed, step, wrong)
			}
			r.made, again.made = nil, nil
		}
	}
}

func same(t *testing.T, all []made) string {
	t.Helper()
	b, err := json.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	var calls []calls.Call
	for _, m := range all {
		calls = append(calls, m.Call)
	}
	c, err := json.Marshal(calls)
	if err != nil {
		t.Fatal(err)
	}
	return string(b) + string(c)
}

// watch looks for what may never be.
type watch struct {
	r      *rig
	level  map[string]alarm.Severity
	silent map[string]time.Duration // how long an urgent alarm that calls has not been told
}

func newWatch(r *rig) *watch {
	w := &watch{r, map[string]alarm.Severity{}, map[string]time.Duration{}}
	for _, c := range r.plan.Contacts {
		w.level[c.Name] = c.AtLeast
	}
	return w
}

func (w *watch) look(passed time.Duration) string {
	for at := range w.silent {
		w.silent[at] += passed
	}
	for _, m := range w.r.made {
		if wrong := w.call(m); wrong != "" {
			return wrong + ": " + m.String()
		}
	}
	calling := map[string]bool{}
	state := w.r.desk.State()
	for _, st := range w.r.standing() {
		at := st.Nest + "/" + string(st.Name)
		if !st.On() || !st.Status.Calls() || st.Severity < urgent || st.Name.Chore() {
			continue
		}
		calling[at] = true
		w.silent[at] += 0 // from now on, where it was not there
		limit := w.r.plan.Repeat
		if o := state.Open[at]; o == nil {
			return at + " is urgent, and nobody is to be called"
		} else if o.Repeats >= 12 {
			limit *= 6
		}
		if w.silent[at] > limit+passed {
			return fmt.Sprintf("%s is urgent and was not told for %s", at, w.silent[at])
		}
	}
	maps.DeleteFunc(w.silent, func(at string, _ time.Duration) bool { return !calling[at] })
	if len(state.Held) > 200 {
		return "the digest has no end"
	}
	return ""
}

func (w *watch) call(m made) string {
	gravest := alarm.None
	for _, e := range append(m.About, m.Over...) {
		gravest = max(gravest, e.Severity)
		if m.Why != calls.Waited {
			w.silent[e.Nest+"/"+string(e.Name)] = 0
		}
	}
	switch {
	case len(m.To) == 0:
		return "nobody is called"
	case len(m.About)+len(m.Over) == 0 && m.Why != calls.AllWell:
		return "a call about nothing"
	case m.Why == calls.Again && gravest != urgent:
		return "what is not urgent is repeated"
	}
	for _, name := range m.To {
		if level, known := w.level[name]; !known || gravest < level && m.Why != calls.AllWell {
			return name + " does not want to know"
		}
	}
	for _, name := range m.Fresh {
		if !slices.Contains(m.To, name) {
			return name + " is fresh and not called"
		}
	}
	return ""
}
