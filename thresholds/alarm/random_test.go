package alarm_test

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
)

// chaos lets rules, people, time and restarts do at random what they can do, and knows what must hold whatever they do.
type chaos struct {
	*rand.Rand
	now    time.Time
	p      alarm.Panel
	twin   alarm.Panel // is told the same and must answer the same
	rules  map[[2]string]alarm.Standing
	raised map[[2]string]bool          // since it was last normal
	seen   map[[2]string]bool          // acknowledged since it was last raised
	hidden map[[2]string]time.Duration // how long it has been shelved since a person last said so
	out    map[[2]string]bool          // a person took it out of service
}

var (
	someNests = []string{"", "oak", "elm"}
	someNames = []alarm.Name{alarm.NestHeat, alarm.ClusterHeat, alarm.ProbeSilent, alarm.ToteWet, alarm.BeddingDue}
	someLeaps = []time.Duration{0, 0, time.Minute, 40 * time.Minute, 3 * time.Hour, leap, -time.Minute, -leap}
)

func pick[T any](c *chaos, from []T) T { return from[c.IntN(len(from))] }

// on is what the rules say, in their order.
func (c *chaos) on() (all []alarm.Standing) {
	for _, nest := range someNests {
		for _, name := range someNames {
			if st, ok := c.rules[[2]string{nest, string(name)}]; ok {
				all = append(all, st)
			}
		}
	}
	return all
}

// rule lets a rule begin, grow worse, fall quietly or end, and returns the event that it makes of it.
func (c *chaos) rule() (alarm.Event, bool) {
	nest, name := pick(c, someNests), pick(c, someNames)
	key := [2]string{nest, string(name)}
	severity := alarm.Severity(c.IntN(4))
	st, on := c.rules[key]
	switch {
	case severity == alarm.None && !on:
		return alarm.Event{}, false
	case severity == alarm.None:
		delete(c.rules, key)
		e := st.Event
		e.Time, e.State = c.now, alarm.Cleared
		return e, true
	case !on || severity > st.Severity || c.IntN(5) == 0: // or one more of them
		e := alarm.Event{Time: c.now, Since: c.now, Nest: nest, Name: name, State: alarm.Raised, Severity: severity}
		if on {
			e.Since = st.Since
		}
		c.rules[key] = alarm.Standing{Event: e}
		return e, true
	}
	st.Severity, st.Text = severity, "fell" // without an event
	c.rules[key] = st
	return alarm.Event{}, false
}

func (c *chaos) act() alarm.Act {
	a := alarm.Act{
		Action: pick(c, append(alarm.Actions, "nonsense")), Nest: pick(c, someNests), By: pick(c, []string{"ann", "ben"}), At: c.now.Add(pick(c, someLeaps)),
		Worst: alarm.Severity(c.IntN(4)),
	}
	if c.IntN(3) > 0 {
		a.Event = pick(c, someNames)
		if c.IntN(3) == 0 {
			a.Since = c.now.Add(-time.Duration(c.IntN(60)) * time.Minute)
		}
	}
	if c.IntN(2) == 0 {
		a.For = time.Duration(c.Int64N(int64(9*time.Hour))) - time.Minute
	}
	return a
}

// step does one thing and returns what it was and the changes it made.
func (c *chaos) step() (did string, all, twins []alarm.Change, err error) {
	one := func(ch alarm.Change, ok bool) []alarm.Change {
		if ok {
			return []alarm.Change{ch}
		}
		return nil
	}
	switch n := c.IntN(20); {
	case n < 7:
		e, ok := c.rule()
		if !ok {
			return "nothing", nil, nil, nil
		}
		return fmt.Sprint(e.State, " ", e.Nest, " ", e.Name, " ", e.Severity), one(c.p.Take(e)), one(c.twin.Take(e)), nil
	case n < 12:
		a := c.act()
		before := kept(&c.p)
		all, err := c.p.Do(a)
		twins, twinErr := c.twin.Do(a)
		switch {
		case fmt.Sprint(err) != fmt.Sprint(twinErr):
			err = fmt.Errorf("the twin says %w, not %w", twinErr, err)
		case err != nil && !reflect.DeepEqual(kept(&c.p), before):
			err = fmt.Errorf("it was refused with %w, and yet changed\n%+v\nto\n%+v", err, before, kept(&c.p))
		default:
			err = nil
		}
		return fmt.Sprintf("%+v", a), all, twins, err
	case n < 15:
		d := time.Duration(c.Int64N(int64(30 * time.Minute)))
		c.now = c.now.Add(d)
		for key := range c.hidden {
			c.hidden[key] += d
		}
		return fmt.Sprint("pass ", d), c.p.Pass(d), c.twin.Pass(d), nil
	case n < 17:
		nest, name, because := pick(c, someNests), pick(c, someNames), pick(c, []alarm.Name{"", alarm.BusFault})
		return fmt.Sprint("suppress ", nest, name, " by ", because), one(c.p.Suppress(nest, name, because)), one(c.twin.Suppress(nest, name, because)), nil
	case n < 19:
		on := c.on()
		return "stand", c.p.Stand(on, c.now), c.twin.Stand(on, c.now), nil
	}
	off := pick(c, someLeaps)
	return fmt.Sprint("restart ", off), nil, nil, c.restart(off)
}

func kept(p *alarm.Panel) []alarm.Standing {
	_, all := p.Merge(nil)
	return all
}

// restart puts back what Merge returned. All is as it was, but the time that a shelf has left and how a clock shows its end.
func (c *chaos) restart(off time.Duration) error {
	c.p.Stand(c.on(), c.now)
	c.twin.Stand(c.on(), c.now)
	before := kept(&c.p)
	standing, quiet := c.p.Merge(c.on())
	c.p = alarm.Panel{Latch: c.p.Latch}
	c.p.Restore(append(standing, quiet...), c.now, c.now.Add(off))
	c.twin = alarm.Panel{Latch: c.p.Latch}
	c.twin.Restore(append(standing, quiet...), c.now, c.now.Add(off))
	after := kept(&c.p)
	if len(after) != len(before) {
		return fmt.Errorf("%d were kept of %d", len(after), len(before))
	}
	for i := range after {
		if after[i].Status == alarm.Shelved {
			if want := max(before[i].Left-max(off, 0), 0); after[i].Left != want {
				return fmt.Errorf("%v are left of a shelf, want %v", after[i].Left, want)
			}
			after[i].Left, after[i].Until = before[i].Left, before[i].Until
		}
		if !reflect.DeepEqual(after[i], before[i]) {
			return fmt.Errorf("%+v came back as %+v", before[i], after[i])
		}
	}
	c.now = c.now.Add(off)
	return nil
}

// note remembers what the changes say.
func (c *chaos) note(before map[[2]string]alarm.Status, all []alarm.Change) error {
	for _, ch := range all {
		key := [2]string{ch.Nest, string(ch.Name)}
		from, ok := before[key]
		if !ok {
			from = alarm.Normal
		}
		if ch.From != from {
			return fmt.Errorf("%v was %s, not %s", key, from, ch.From)
		}
		switch ch.Did {
		case alarm.Raise:
			c.raised[key], c.seen[key] = true, false
		case alarm.Acknowledge:
			c.seen[key] = true
		}
		c.out[key] = ch.Status == alarm.OutOfService
		whole, covered := c.hidden[[2]string{ch.Nest, ""}]
		switch {
		case ch.Status != alarm.Shelved:
			delete(c.hidden, key)
		case ch.Did == alarm.Shelve:
			c.hidden[key] = 0
		case from == alarm.Normal && covered:
			c.hidden[key] = whole
		}
	}
	return nil
}

// holds returns what does not hold.
func (c *chaos) holds() error {
	all := kept(&c.p)
	if most := len(someNests) * (len(someNames) + 1); len(all) > most {
		return fmt.Errorf("%d are kept, there can be %d", len(all), most)
	}
	if !reflect.DeepEqual(kept(&c.twin), all) {
		return fmt.Errorf("the twin keeps\n%+v\nnot\n%+v", kept(&c.twin), all)
	}
	for _, st := range all {
		key := [2]string{st.Nest, string(st.Name)}
		passed, shelved := c.hidden[key]
		switch open := st.Status == alarm.Unacknowledged || st.Status == alarm.Acknowledged; {
		case st.Status == alarm.Normal || !slices.Contains(alarm.Statuses, st.Status):
			return fmt.Errorf("kept as %q: %+v", st.Status, st)
		case st.On() && st.Status == alarm.Returned, !st.On() && open:
			return fmt.Errorf("on: %v, and %s", st.On(), st.Status)
		case !c.raised[key] && (open || st.Status == alarm.Returned || st.Severity != alarm.None):
			return fmt.Errorf("never raised, and %s, %s", st.Status, st.Severity)
		case st.Status == alarm.Acknowledged && !c.seen[key]:
			return fmt.Errorf("acknowledged by nobody: %+v", st)
		case st.Status == alarm.OutOfService && !c.out[key]:
			return fmt.Errorf("taken out of service by nobody: %+v", st)
		case st.Status == alarm.Suppressed && (st.Because == "" || st.On() && st.Severity == alarm.Urgent):
			return fmt.Errorf("suppressed: %+v", st)
		case (st.Status == alarm.Shelved) != shelved, passed > alarm.MaxShelf(st.Name):
			return fmt.Errorf("shelved %v for %v: %+v", shelved, passed, st)
		case st.Status != alarm.Shelved && (st.Left != 0 || !st.Until.IsZero() || st.Covers != alarm.None):
			return fmt.Errorf("not shelved, with the rest of a shelf: %+v", st)
		}
	}
	// What is on by the rules is shown as on, with a status of its own.
	on := c.on()
	standing, _ := c.p.Merge(on)
	for i, st := range standing {
		if st.Event != on[i].Event || !st.On() || st.Status == alarm.Normal || st.Status == alarm.Returned || !slices.Contains(alarm.Statuses, st.Status) {
			return fmt.Errorf("%+v is shown as %+v", on[i], st)
		}
	}
	return nil
}

func TestWhateverHappens(t *testing.T) {
	const stories, steps = 40, 200
	reached := map[alarm.Status]int{}
	for seed := range uint64(stories) {
		c := &chaos{
			Rand: rand.New(rand.NewPCG(seed, 0)), now: noon, rules: map[[2]string]alarm.Standing{}, raised: map[[2]string]bool{}, //nolint:gosec // a test
			seen: map[[2]string]bool{}, hidden: map[[2]string]time.Duration{}, out: map[[2]string]bool{},
		}
		if seed%2 == 0 {
			c.p.Latch = []alarm.Name{alarm.ClusterHeat}
			c.twin.Latch = c.p.Latch
		}
		var story []string
		for range steps {
			before := map[[2]string]alarm.Status{}
			for _, st := range kept(&c.p) {
				before[[2]string{st.Nest, string(st.Name)}] = st.Status
				reached[st.Status]++
			}
			did, all, twins, err := c.step()
			story = append(story, did)
			if err == nil && !reflect.DeepEqual(all, twins) {
				err = fmt.Errorf("%+v\nthe twin says\n%+v", all, twins)
			}
			if err == nil {
				err = c.note(before, all)
			}
			if err == nil {
				err = c.holds()
			}
			if err != nil {
				t.Fatalf("seed %d, after\n%v\n%v", seed, story[max(len(story)-12, 0):], err)
			}
		}
	}
	for _, s := range alarm.Statuses {
		if (reached[s] > 100) == (s == alarm.Normal) {
			t.Errorf("%s was reached %d times", s, reached[s])
		}
	}
}
