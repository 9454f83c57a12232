package calls

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"nestmon/thresholds/alarm"
)

// Why says what a call is for.
type Why string

// The reasons of calls.
const (
	Began    Why = "began"
	Worse    Why = "grew worse" // also when it still stands after its shelf or its time out of service
	Ended    Why = "ended"
	Happened Why = "happened"
	Again    Why = "not acknowledged" // still urgent
	Storm    Why = "storm"
	Waited   Why = "waited" // the digest
	AllWell  Why = "all well"
)

// Call is one call of one or more contacts.
type Call struct {
	Why    Why
	About  []alarm.Event // the worst first; of the digest in the order of time; empty for AllWell, and for a storm of which nothing is left
	Over   []alarm.Event // of a storm: what has ended since the last call
	To     []string      // contacts, at least one
	Number int           // for Again and Storm: so many calls before this one had no answer; for Waited: so many did not fit into About
	Fresh  []string      // of To, those who are called because those before them gave no answer or cannot be reached
	First  alarm.Event   // of a storm: what came first
}

// Now is what a step is told of the time and of the ways to people.
type Now struct {
	Wall        time.Time
	Passed      time.Duration // since the last step, by a clock that does not leap
	Unreachable func(contact string) bool
}

// State is all that a Desk remembers.
type State struct {
	Open    map[string]*Open `json:"open,omitempty"`   // by nest and event: what stands, and somebody was told of or is about to be
	Recent  []time.Duration  `json:"recent,omitempty"` // ages of single calls within the storm's window
	Storm   *Gale            `json:"storm,omitempty"`
	Held    []alarm.Event    `json:"held,omitempty"` // for the digest
	Lost    int              `json:"lost,omitempty"` // that did not fit
	Digest  string           `json:"digest,omitempty"`
	AllWell string           `json:"all_well,omitempty"` // local days on which their hour was last seen
}

// Open is an alarm that was told, or waits for the next call of a storm.
type Open struct {
	Told    alarm.Severity `json:"told"`            // the highest
	Knows   []string       `json:"knows,omitempty"` // the contacts that were called
	Untold  bool           `json:"untold,omitempty"`
	Repeats int            `json:"repeats,omitempty"`
	Due     time.Duration  `json:"due"` // until the next repeat
}

// Desk decides about calls. It is not safe for concurrent use.
type Desk struct {
	plan  Plan
	state State
}

// New makes a desk that goes on from a state, the zero State at the very first start.
func New(plan Plan, state State) *Desk {
	if state.Open == nil {
		state.Open = map[string]*Open{}
	}
	maps.DeleteFunc(state.Open, func(_ string, o *Open) bool { return o == nil }) // as nothing writes it, and damage may
	d := &Desk{plan, state}
	for _, o := range state.Open {
		o.Knows = d.known(o.Knows)
	}
	if g := state.Storm; g != nil {
		g.Knows = d.known(g.Knows)
	}
	return d
}

// State is what is to be stored. It must not be changed, and is valid until the next Step.
func (d *Desk) State() State { return d.state }

// Adopt takes alarms that stood before the desk kept a state of its own, as if each had been told.
func (d *Desk) Adopt(standing []alarm.Standing) {
	for _, st := range standing {
		if st.On() && st.Severity >= d.plan.lowest() {
			d.state.Open[key(st.Event)] = &Open{Told: st.Severity, Knows: d.first(st.Severity), Due: d.plan.Every()}
		}
	}
}

// Step takes what changed on the panel since the last step, in order, what happened without standing there, and what stands now, and returns
// who is to be called.
func (d *Desk) Step(now Now, changes []alarm.Change, noted []alarm.Event, standing []alarm.Standing) []Call {
	if len(d.plan.Contacts) == 0 {
		return nil
	}
	d.pass(now.Passed)
	var single []Call
	add := func(c Call, ok bool) {
		if ok {
			single = append(single, c)
		}
	}
	for _, c := range changes {
		add(d.change(now, c, standing))
	}
	for _, e := range noted {
		add(d.note(now, e))
	}
	d.forget(standing)
	for _, e := range d.unanswered(standing) { // whatever became of its change, nothing urgent goes untold
		if o := d.state.Open[key(e)]; e.Severity == alarm.Urgent && (o == nil || o.Told < alarm.Urgent) {
			add(d.begin(now, e))
		}
	}
	out := d.gather(now, single, standing)
	out = append(out, d.again(now, standing)...)
	return append(out, d.daily(now, standing)...)
}

func (d *Desk) pass(t time.Duration) {
	for _, o := range d.state.Open {
		o.Due -= t
	}
	recent := d.state.Recent[:0]
	for _, age := range d.state.Recent {
		if age += t; age < stormWindow {
			recent = append(recent, age)
		}
	}
	d.state.Recent = recent
	if g := d.state.Storm; g != nil {
		g.Idle += t
		g.Last += t
	}
}

// change decides about one change of the panel.
func (d *Desk) change(now Now, c alarm.Change, standing []alarm.Standing) (Call, bool) {
	switch c.Did {
	case alarm.Clear:
		return d.over(now, c, standing)
	case alarm.Raise, alarm.Unshelve, alarm.Unsuppress, alarm.PutBack:
		o := d.state.Open[key(c.Event)]
		if told := o != nil && len(o.Knows) > 0 && o.Told >= c.Severity; c.Did == alarm.Unsuppress && told {
			return Call{}, false // it is as it was told before another alarm stood for it
		}
		if c.Status.Calls() {
			return d.begin(now, c.Event)
		}
	}
	if !c.Status.Calls() { // somebody knows of it, or wants no call
		d.release(c.Event)
	}
	return Call{}, false
}

// begin tells of what began or grew worse, unless it can wait. Who is called is decided when it is known whether there is a storm.
func (d *Desk) begin(now Now, e alarm.Event) (Call, bool) {
	switch {
	case e.Severity < d.plan.lowest():
		return Call{}, false
	case d.plan.waits(e, now.Wall):
		d.hold(e)
		return Call{}, false
	}
	d.release(e)
	why, o := Worse, d.state.Open[key(e)]
	if o == nil {
		why, o = Began, &Open{}
		d.state.Open[key(e)] = o
	}
	o.Told, o.Untold, o.Repeats, o.Due = max(o.Told, e.Severity), true, 0, d.plan.Every()
	return Call{Why: why, About: []alarm.Event{e}}, true
}

// over tells the end of what was told, to those who were told.
func (d *Desk) over(now Now, c alarm.Change, standing []alarm.Standing) (Call, bool) {
	e := c.Event
	waited := d.release(e)
	o := d.state.Open[key(e)]
	delete(d.state.Open, key(e))
	if o != nil {
		e.Severity = max(e.Severity, o.Told) // it may have fallen before it ended, and whoever heard of the worst hears of the end
	}
	untold := o != nil && len(o.Knows) == 0 && d.state.Storm == nil // it ends in the step in which it began
	heat := alarm.Find(standing, e.Nest, alarm.NestHeat)
	switch {
	case e.Name.Chore(), c.Status == alarm.Shelved, c.Status == alarm.OutOfService: // done, or a person wants no call
		return Call{}, false
	case e.Name == alarm.HeatExpected && heat.On(): // what was expected is here, and "over" would say that it is not
		return Call{}, false
	case o == nil, untold && (o.Told < alarm.Urgent || !c.Acknowledged.IsZero()):
		if waited || o != nil && c.Acknowledged.IsZero() {
			d.hold(e)
		}
		return Call{}, false
	case o.Told < alarm.Warning:
		return Call{}, false
	case d.plan.waits(e, now.Wall):
		d.hold(e)
		return Call{}, false
	}
	to := slices.Clone(o.Knows)
	if untold {
		to, _ = d.reach(now, nil, o.Told, false)
	}
	return Call{Why: Ended, About: []alarm.Event{e}, To: to}, true
}

// note tells of what has no duration. Visits and inspections are the ordinary life of a nest; the page shows them.
func (d *Desk) note(now Now, e alarm.Event) (Call, bool) {
	switch {
	case e.Name == alarm.Visit, e.Name == alarm.Inspection, e.Severity < d.plan.lowest():
		return Call{}, false
	case d.plan.waits(e, now.Wall):
		d.hold(e)
		return Call{}, false
	}
	return Call{Why: Happened, About: []alarm.Event{e}}, true
}

// gather makes a storm of too many calls at once.
func (d *Desk) gather(now Now, single []Call, standing []alarm.Standing) (out []Call) {
	if d.state.Storm == nil && len(d.state.Recent)+len(single) > stormAfter {
		d.state.Storm = &Gale{First: d.earliest(now, single, standing)}
	}
	if d.state.Storm != nil {
		return d.storm(now, single, standing)
	}
	for _, c := range single {
		e := c.About[0]
		switch o := d.state.Open[key(e)]; {
		case c.Why == Ended:
		case c.Why == Happened:
			c.To, c.Fresh = d.reach(now, nil, e.Severity, false)
		case o == nil: // it ended within the same step, which is told or waits for the digest
			continue
		default:
			c.Fresh = d.tell(now, o, e.Severity)
			c.To = d.wanting(o.Knows, e.Severity)
		}
		d.state.Recent = append(d.state.Recent, 0)
		out = append(out, c)
	}
	return out
}

// again repeats what is urgent and not acknowledged: all of it as soon as one of it is due, for a repeat takes the place of those before it
// that still wait for a channel.
func (d *Desk) again(now Now, standing []alarm.Standing) []Call {
	if d.state.Storm != nil {
		return nil
	}
	call, due := Call{Why: Again}, false
	for _, e := range d.unanswered(standing) {
		if e.Severity == alarm.Urgent {
			due = due || d.pressing(now, d.state.Open[key(e)])
			call.About = append(call.About, e)
		}
	}
	if !due {
		return nil
	}
	d.address(now, &call)
	return []Call{call}
}

// pressing reports whether an urgent alarm is to be told again now.
func (d *Desk) pressing(now Now, o *Open) bool { return o.Due <= 0 || d.stranded(now, o) }

// address finds out who is called about all that a call is about.
func (d *Desk) address(now Now, c *Call) {
	var knew []string
	for _, e := range c.About {
		o := d.state.Open[key(e)]
		knew = merge(knew, o.Knows)
		c.Fresh = merge(c.Fresh, d.tell(now, o, e.Severity))
		c.To = merge(c.To, o.Knows)
		c.Number = max(c.Number, o.Repeats)
	}
	c.Fresh = slices.DeleteFunc(c.Fresh, func(name string) bool { return slices.Contains(knew, name) })
	for _, e := range c.About {
		o := d.state.Open[key(e)]
		o.Knows = merge(o.Knows, d.wanting(c.To, o.Told))
	}
}

// tell notes that o is told now with its present severity, for the first time or once more, and returns those who have to help out.
func (d *Desk) tell(now Now, o *Open, severity alarm.Severity) (fresh []string) {
	escalate := false
	if severity == alarm.Urgent && !o.Untold {
		o.Repeats++
		escalate = o.Repeats%d.plan.Steps() == 0
	}
	if o.Due = d.plan.Every(); o.Repeats >= slowAfter {
		o.Due *= slowFactor
	}
	o.Untold = false
	o.Knows, fresh = d.reach(now, o.Knows, severity, escalate)
	return fresh
}

// forget drops what neither stands nor ended by a change, such as an alarm of a nest that was taken out of the configuration.
func (d *Desk) forget(standing []alarm.Standing) {
	on := map[string]bool{}
	for _, st := range standing {
		if st.On() {
			on[key(st.Event)] = true
		}
	}
	maps.DeleteFunc(d.state.Open, func(k string, _ *Open) bool { return !on[k] })
}

// unanswered lists what is on and nobody has acknowledged, and is not kept from calling, the worst first. Warnings are in it when they were told.
func (d *Desk) unanswered(standing []alarm.Standing) (all []alarm.Event) {
	for _, st := range standing {
		o := d.state.Open[key(st.Event)]
		if st.On() && st.Status.Calls() && !st.Name.Chore() && (st.Severity == alarm.Urgent || st.Severity == alarm.Warning && o != nil) {
			all = append(all, st.Event)
		}
	}
	slices.SortStableFunc(all, func(a, b alarm.Event) int {
		return cmp.Or(int(b.Severity)-int(a.Severity), slices.Index(alarm.Names, a.Name)-slices.Index(alarm.Names, b.Name), cmp.Compare(a.Nest, b.Nest))
	})
	return all
}

func merge(a, b []string) []string {
	a = a[:len(a):len(a)]
	for _, s := range b {
		if !slices.Contains(a, s) {
			a = append(a, s)
		}
	}
	return a
}

func key(e alarm.Event) string { return e.Nest + "/" + string(e.Name) }
