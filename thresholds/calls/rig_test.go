package calls_test

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

// rig is a panel and a desk on one table, driven minute by minute.
type rig struct {
	t        *testing.T
	plan     calls.Plan
	panel    alarm.Panel
	desk     *calls.Desk
	wall     time.Time
	ran      time.Duration
	on       map[string]alarm.Standing // by the rules
	changes  []alarm.Change            // since the last step
	noted    []alarm.Event
	deaf     map[string]bool // contacts whose ways are all down
	restarts bool            // after every step
	made     []made
}

// made is a call, and when it was made after the start.
type made struct {
	at time.Duration
	calls.Call
}

// String tells a call in one line: when, why, about what, what is over, to whom.
func (m made) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d: %s", int(m.at.Minutes()), m.Why)
	for _, e := range m.About {
		fmt.Fprintf(&b, " %s/%s %s", e.Nest, e.Name, e.Severity)
		if m.Why == calls.Waited {
			fmt.Fprintf(&b, " %s", e.State)
		}
	}
	for _, e := range m.Over {
		fmt.Fprintf(&b, " over:%s/%s", e.Nest, e.Name)
	}
	fmt.Fprintf(&b, " > %s", strings.Join(m.To, " "))
	if m.Number > 0 {
		fmt.Fprintf(&b, " #%d", m.Number)
	}
	if len(m.Fresh) > 0 {
		fmt.Fprintf(&b, " fresh %s", strings.Join(m.Fresh, " "))
	}
	return b.String()
}

var (
	noon  = time.Date(2026, 7, 14, 12, 0, 0, 0, time.UTC)
	night = time.Date(2026, 7, 15, 3, 0, 0, 0, time.UTC)
)

// anna wants to know of whatever is at least a warning.
func anna() calls.Plan {
	return calls.Plan{Contacts: []calls.Contact{{Name: "anna", AtLeast: alarm.Warning}}, Digest: calls.Never, AllWell: calls.Never}
}

// family is anna, then berta, then carl, all for warnings.
func family() calls.Plan {
	p := anna()
	p.Contacts = append(p.Contacts, calls.Contact{Name: "berta", AtLeast: alarm.Warning}, calls.Contact{Name: "carl", AtLeast: alarm.Warning})
	return p
}

func quietly(p calls.Plan) calls.Plan {
	p.Quiet = calls.Window{From: 22 * 60, To: 6*60 + 30}
	return p
}

func newRig(t *testing.T, plan calls.Plan, at time.Time) *rig {
	r := &rig{t: t, plan: plan, desk: calls.New(plan, calls.State{}), wall: at, on: map[string]alarm.Standing{}, deaf: map[string]bool{}}
	r.step(0) // the day's hours that are past are past
	return r
}

func (r *rig) event(nest string, name alarm.Name, severity alarm.Severity, state alarm.State) alarm.Event {
	return alarm.Event{Time: r.wall, Since: r.wall, Nest: nest, Name: name, State: state, Severity: severity}
}

func (r *rig) take(e alarm.Event) {
	if c, ok := r.panel.Take(e); ok {
		r.changes = append(r.changes, c)
	}
}

// raise begins an alarm, or has it grow worse.
func (r *rig) raise(nest string, name alarm.Name, severity alarm.Severity) {
	e, at := r.event(nest, name, severity, alarm.Raised), nest+"/"+string(name)
	if st, ok := r.on[at]; ok {
		e.Since = st.Since
	}
	r.on[at] = alarm.Standing{Event: e}
	r.take(e)
}

// fall lowers an alarm without an event, as the rules do.
func (r *rig) fall(nest string, name alarm.Name, severity alarm.Severity) {
	at := nest + "/" + string(name)
	st := r.on[at]
	st.Severity = severity
	r.on[at] = st
}

func (r *rig) clear(nest string, name alarm.Name) {
	at := nest + "/" + string(name)
	st := r.on[at]
	delete(r.on, at)
	e := r.event(nest, name, st.Severity, alarm.Cleared)
	e.Since = st.Since
	r.take(e)
}

func (r *rig) note(name alarm.Name, severity alarm.Severity) {
	r.noted = append(r.noted, r.event("a1", name, severity, alarm.Noted))
}

// do is what a person does; what cannot be done changes nothing.
func (r *rig) do(action alarm.Action, nest string, name alarm.Name) {
	changes, err := r.panel.Do(alarm.Act{Action: action, Nest: nest, Event: name, By: "anna", At: r.wall})
	if err == nil {
		r.changes = append(r.changes, changes...)
		r.step(0)
	}
}

// acknowledge says that a person has seen everything that can be.
func (r *rig) acknowledge() {
	for _, st := range r.standing() {
		if st.Status.Calls() {
			r.do(alarm.Acknowledge, st.Nest, st.Name)
		}
	}
}

// answer acknowledges what the newest calls were about, as the link in a message does.
func (r *rig) answer() {
	for _, m := range r.made {
		if m.at == r.ran {
			for _, e := range m.About {
				r.do(alarm.Acknowledge, e.Nest, e.Name)
			}
		}
	}
}

func (r *rig) standing() []alarm.Standing {
	var on []alarm.Standing
	for _, at := range slices.Sorted(maps.Keys(r.on)) {
		on = append(on, r.on[at])
	}
	standing, _ := r.panel.Merge(on)
	return standing
}

func (r *rig) step(passed time.Duration) []made {
	now := calls.Now{Wall: r.wall, Passed: passed, Unreachable: func(name string) bool { return r.deaf[name] }}
	var out []made
	for _, c := range r.desk.Step(now, r.changes, r.noted, r.standing()) {
		out = append(out, made{r.ran, c})
	}
	r.changes, r.noted, r.made = nil, nil, append(r.made, out...)
	if r.restarts {
		r.restart()
	}
	return out
}

// restart writes the desk's state and reads it into a new one.
func (r *rig) restart() {
	b, err := json.Marshal(r.desk.State())
	if err != nil {
		r.t.Fatal(err)
	}
	var state calls.State
	if err := json.Unmarshal(b, &state); err != nil {
		r.t.Fatal(err)
	}
	r.desk = calls.New(r.plan, state)
}

func (r *rig) minutes(n int) (out []made) {
	for range n {
		out = append(out, r.minute()...)
	}
	return out
}

func (r *rig) minute() []made { return r.pass(time.Minute) }

func (r *rig) pass(d time.Duration) []made {
	r.wall, r.ran = r.wall.Add(d), r.ran+d
	r.changes = append(r.changes, r.panel.Pass(d)...)
	return r.step(d)
}

func (r *rig) want(lines ...string) {
	r.t.Helper()
	var got []string
	for _, m := range r.made {
		got = append(got, m.String())
	}
	if !slices.Equal(got, lines) {
		r.t.Errorf("called\n  %s\nwant\n  %s", strings.Join(got, "\n  "), strings.Join(lines, "\n  "))
	}
}

// row is one course of things and the calls that it is to lead to.
type row struct {
	name string
	plan calls.Plan
	at   time.Time // noon where it is not said
	do   func(r *rig)
	want []string
}

// play runs rows, each with and without a restart after every step.
func play(t *testing.T, rows []row) {
	t.Helper()
	for _, row := range rows {
		for _, restarts := range []bool{false, true} {
			t.Run(fmt.Sprintf("%s/restarts=%v", row.name, restarts), func(t *testing.T) {
				at := row.at
				if at.IsZero() {
					at = noon
				}
				r := newRig(t, row.plan, at)
				r.restarts = restarts
				row.do(r)
				r.want(row.want...)
			})
		}
	}
}

// unheard lists what stands and was neither told nor waits to be.
func (r *rig) unheard() (all []string) {
	told := map[string]bool{}
	for _, m := range r.made {
		for _, e := range append(m.About, m.Over...) {
			told[e.Nest+"/"+string(e.Name)] = true
		}
	}
	for _, e := range r.desk.State().Held {
		told[e.Nest+"/"+string(e.Name)] = true
	}
	for _, st := range r.standing() {
		if at := st.Nest + "/" + string(st.Name); !told[at] {
			all = append(all, at)
		}
	}
	return all
}

// byTime is the number of calls of a kind before some time has passed; an empty why is every kind.
func (r *rig) byTime(why calls.Why, before time.Duration) (n int) {
	for _, m := range r.made {
		if m.at < before && m.Why == cmp.Or(why, m.Why) {
			n++
		}
	}
	return n
}
