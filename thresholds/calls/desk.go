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
	Worse    Why = "grew worse"
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
	About  []alarm.Event // the worst first; of the digest in the order of time; empty for AllWell
	Over   []alarm.Event // of a storm: what has ended since the last call
	To     []string      // contacts
	Number int           // of repeats without an answer, for Again and Storm
	Fresh  []string      // of To, those who hear of it for the first time, because nobody before them answered
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
	Open    map[string]*Open `json:"open,omitempty"`   // by nest and event: what somebody was told of and stands
	Recent  []time.Duration  `json:"recent,omitempty"` // ages of single calls within the storm's window
	Storm   *Gale            `json:"storm,omitempty"`
	Held    []alarm.Event    `json:"held,omitempty"` // for the digest
	Lost    int              `json:"lost,omitempty"` // that did not fit
	Digest  string           `json:"digest,omitempty"`
	AllWell string           `json:"all_well,omitempty"` // local days on which it was told last
}

// Open is an alarm that was told.
type Open struct {
	Told    alarm.Severity `json:"told"`    // the highest
	Reached int            `json:"reached"` // so many of the contacts know
	Repeats int            `json:"repeats"`
	Due     time.Duration  `json:"due"` // until the next repeat
}

// Gale is a storm that goes on.
type Gale struct {
	First alarm.Event    `json:"first"`
	Idle  time.Duration  `json:"idle"` // since the last change
	Due   time.Duration  `json:"due"`  // until the next call
	News  bool           `json:"news,omitempty"`
	Worst alarm.Severity `json:"worst"` // that was told
	Over  []alarm.Event  `json:"over,omitempty"`
	Calls int            `json:"calls"`
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
	return &Desk{plan, state}
}

// State is what is to be stored. It must not be changed, and is valid until the next Step.
func (d *Desk) State() State { return d.state }

// Adopt takes alarms that stood before the desk kept a state of its own, as if each had been told.
func (d *Desk) Adopt(standing []alarm.Standing) {
	for _, st := range standing {
		if st.On() && st.Severity >= d.plan.lowest() {
			d.state.Open[key(st.Event)] = &Open{Told: st.Severity, Reached: 1, Due: d.plan.repeat()}
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
	var at []Call
	for _, c := range changes {
		if call, ok := d.change(now, c, standing); ok {
			at = append(at, call)
		}
	}
	for _, e := range noted {
		if call, ok := d.note(now, e); ok {
			at = append(at, call)
		}
	}
	d.forget(standing)
	out := d.gather(now, at, standing)
	out = append(out, d.again(now, standing)...)
	out = append(out, d.daily(now)...)
	return out
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
		g.Due -= t
	}
}

// change decides about one change of the panel.
func (d *Desk) change(now Now, c alarm.Change, standing []alarm.Standing) (Call, bool) {
	e := c.Event
	switch {
	case c.Did == alarm.Clear:
		return d.over(now, c, standing)
	case !c.Status.Calls(), c.Did != alarm.Raise && c.Did != alarm.Unshelve && c.Did != alarm.Unsuppress && c.Did != alarm.PutBack:
		return Call{}, false
	case e.Severity < d.plan.lowest():
		return Call{}, false
	}
	o := d.state.Open[key(e)]
	if o == nil && d.plan.waits(e, now.Wall) {
		d.hold(e)
		return Call{}, false
	}
	why := Worse
	if o == nil {
		why, o = Began, &Open{}
		d.state.Open[key(e)] = o
		d.release(e)
	}
	o.Told, o.Repeats, o.Due = max(o.Told, e.Severity), 0, d.plan.repeat()
	to := d.reach(now, o, 1)
	return Call{Why: why, About: []alarm.Event{e}, To: d.names(o.Reached, e.Severity), Fresh: to}, true
}

// over tells the end of what was told, to those who were told.
func (d *Desk) over(now Now, c alarm.Change, standing []alarm.Standing) (Call, bool) {
	e := c.Event
	o := d.state.Open[key(e)]
	delete(d.state.Open, key(e))
	if o == nil {
		d.overHeld(e)
		return Call{}, false
	}
	heat := alarm.Find(standing, e.Nest, alarm.NestHeat)
	switch {
	case o.Told < alarm.Warning || e.Name.Chore():
		return Call{}, false
	case e.Name == alarm.HeatExpected && heat.On(): // what was expected is here, and "over" would say that it is not
		return Call{}, false
	case o.Told < alarm.Urgent && d.plan.waits(e, now.Wall):
		d.hold(e)
		return Call{}, false
	}
	return Call{Why: Ended, About: []alarm.Event{e}, To: d.names(o.Reached, o.Told)}, true
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
	return Call{Why: Happened, About: []alarm.Event{e}, To: d.names(1, e.Severity)}, true
}

// gather makes a storm of too many calls at once.
func (d *Desk) gather(now Now, single []Call, standing []alarm.Standing) []Call {
	g := d.state.Storm
	if g == nil && len(d.state.Recent)+len(single) <= stormAfter {
		for range single {
			d.state.Recent = append(d.state.Recent, 0)
		}
		return single
	}
	if g == nil {
		g = &Gale{First: earliest(single), Due: 0}
		d.state.Storm = g
	}
	for _, c := range single {
		if c.Why == Happened || c.About[0].Name.Chore() {
			d.hold(c.About[0])
			continue
		}
		g.News, g.Idle = true, 0
		if c.Why == Ended {
			g.Over = append(g.Over, c.About...)
		}
	}
	on := unseen(standing)
	worst := alarm.None
	if len(on) > 0 {
		worst = on[0].Severity
	}
	urgent := worst == alarm.Urgent
	if (g.News || urgent) && (g.Due <= 0 || worst > g.Worst) {
		reached := 1
		for _, o := range d.state.Open {
			reached = max(reached, o.Reached)
		}
		if urgent && !g.News {
			reached = max(reached, d.level(g.Calls))
		}
		call := Call{Why: Storm, About: on, Over: g.Over, Number: g.Calls, First: g.First}
		for _, o := range d.state.Open {
			o.Due = d.plan.repeat()
			call.Fresh = merge(call.Fresh, d.reach(now, o, reached))
			reached = max(reached, o.Reached)
		}
		call.To = d.names(reached, max(worst, alarm.Warning))
		g.Worst, g.Due, g.News, g.Over = max(g.Worst, worst), d.plan.repeat(), false, nil
		g.Calls++
		d.state.Recent = nil
		return []Call{call}
	}
	if g.Idle >= stormWindow && !g.News {
		d.state.Storm = nil
	}
	return nil
}

// again repeats what is urgent and not acknowledged. What is due soon is repeated with what is due.
func (d *Desk) again(now Now, standing []alarm.Standing) []Call {
	if d.state.Storm != nil {
		return nil
	}
	var about []alarm.Event
	var open []*Open
	due := false
	for _, e := range unseen(standing) {
		o := d.state.Open[key(e)]
		if o == nil || e.Severity < alarm.Urgent || o.Due > d.plan.repeat()/2 && !d.stranded(now, o) {
			continue
		}
		due = due || o.Due <= 0 || d.stranded(now, o)
		about, open = append(about, e), append(open, o)
	}
	if !due {
		return nil
	}
	call := Call{Why: Again, About: about}
	reached := 0
	for _, o := range open {
		o.Repeats++
		if o.Due = d.plan.repeat(); o.Repeats >= slowAfter {
			o.Due *= slowFactor
		}
		call.Fresh = merge(call.Fresh, d.reach(now, o, d.level(o.Repeats)))
		call.Number, reached = max(call.Number, o.Repeats), max(reached, o.Reached)
	}
	call.To = d.names(reached, alarm.Urgent)
	return []Call{call}
}

// level is how many contacts are called after so many repeats.
func (d *Desk) level(repeats int) int { return 1 + repeats/d.plan.escalate() }

// stranded reports whether nobody who was called can be reached, and somebody else could be.
func (d *Desk) stranded(now Now, o *Open) bool {
	return o.Reached < len(d.plan.Contacts) && d.deaf(now, o.Reached)
}

// deaf reports whether none of the first n contacts can be reached.
func (d *Desk) deaf(now Now, n int) bool {
	if now.Unreachable == nil {
		return false
	}
	for _, c := range d.plan.Contacts[:n] {
		if !now.Unreachable(c.Name) {
			return false
		}
	}
	return true
}

// reach has at least n contacts know, and more where none of those can be reached. It returns those who did not know.
func (d *Desk) reach(now Now, o *Open, n int) (fresh []string) {
	n = min(max(n, 1), len(d.plan.Contacts))
	for n < len(d.plan.Contacts) && o.Told == alarm.Urgent && d.deaf(now, n) {
		n++
	}
	for ; o.Reached < n; o.Reached++ {
		if name := d.plan.Contacts[o.Reached].Name; o.Reached > 0 {
			fresh = append(fresh, name)
		}
	}
	return fresh
}

// names lists the first n contacts that want to know of such a severity.
func (d *Desk) names(n int, severity alarm.Severity) (to []string) {
	for _, c := range d.plan.Contacts[:min(n, len(d.plan.Contacts))] {
		if severity >= c.AtLeast {
			to = append(to, c.Name)
		}
	}
	return to
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

// daily tells what waited, and how things stand, once on each local day.
func (d *Desk) daily(now Now) (out []Call) {
	local := now.Wall.In(d.plan.zone())
	day, at := local.Format(time.DateOnly), clockOf(local)
	worst := alarm.None
	for _, e := range d.state.Held {
		worst = max(worst, e.Severity)
	}
	due := d.state.Digest != day && at >= d.plan.digest() || worst > alarm.Notice // what is more than a notice waits for the end of the quiet hours alone
	if worst > alarm.None && due && !d.plan.Quiet.Covers(local) {
		out = append(out, Call{Why: Waited, About: d.state.Held, To: d.names(1, worst), Number: d.state.Lost})
		d.state.Held, d.state.Lost, d.state.Digest = nil, 0, day
	}
	if d.plan.AllWell >= 0 && d.state.AllWell != day && at >= d.plan.AllWell {
		if d.state.AllWell != "" {
			out = append(out, Call{Why: AllWell, To: d.names(1, alarm.Urgent)})
		}
		d.state.AllWell = day
	}
	return out
}

// hold keeps e for the digest.
func (d *Desk) hold(e alarm.Event) {
	if len(d.state.Held) >= mostHeld {
		d.state.Held = slices.Delete(slices.Clone(d.state.Held), 0, 1)
		d.state.Lost++
	}
	d.state.Held = append(d.state.Held[:len(d.state.Held):len(d.state.Held)], e)
}

// release drops what waits about an alarm that is told after all.
func (d *Desk) release(e alarm.Event) {
	d.state.Held = slices.DeleteFunc(slices.Clone(d.state.Held), func(h alarm.Event) bool { return h.State != alarm.Noted && key(h) == key(e) })
}

// overHeld notes the end of what still waits: a chore that was done needs no word any more, an alarm is told with its end.
func (d *Desk) overHeld(e alarm.Event) {
	waits := slices.ContainsFunc(d.state.Held, func(h alarm.Event) bool { return h.State == alarm.Raised && key(h) == key(e) })
	if !waits {
		return
	}
	d.release(e)
	if !e.Name.Chore() {
		d.hold(e)
	}
}

// unseen lists what is on and nobody has acknowledged, and is not kept from calling, the worst first.
func unseen(standing []alarm.Standing) (all []alarm.Event) {
	for _, st := range standing {
		if st.On() && st.Status.Calls() && st.Severity >= alarm.Warning && !st.Name.Chore() {
			all = append(all, st.Event)
		}
	}
	slices.SortStableFunc(all, func(a, b alarm.Event) int {
		return cmp.Or(int(b.Severity)-int(a.Severity), slices.Index(alarm.Names, a.Name)-slices.Index(alarm.Names, b.Name), cmp.Compare(a.Nest, b.Nest))
	})
	return all
}

func earliest(single []Call) (first alarm.Event) {
	for _, c := range single {
		if e := c.About[0]; first.Name == "" || e.Since.Before(first.Since) {
			first = e
		}
	}
	return first
}

func merge(a, b []string) []string {
	for _, s := range b {
		if !slices.Contains(a, s) {
			a = append(a, s)
		}
	}
	return a
}

func key(e alarm.Event) string { return e.Nest + "/" + string(e.Name) }
