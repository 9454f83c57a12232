package alarm_test

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
)

var noon = time.Date(2031, 1, 9, 12, 0, 0, 0, time.UTC)

// shed is a panel with a nest called oak and a clock that only the test moves.
type shed struct {
	*testing.T
	alarm.Panel
	now time.Time
}

func newShed(t *testing.T) *shed { return &shed{T: t, now: noon} }

func (s *shed) event(state alarm.State, name alarm.Name, severity alarm.Severity) alarm.Event {
	return alarm.Event{Time: s.now, Since: s.now, Nest: "oak", Name: name, State: state, Severity: severity, Text: "words"}
}

// raise and end let a minute pass on the clock and hand the panel an event.
func (s *shed) raise(name alarm.Name, severity alarm.Severity) alarm.Change {
	s.now = s.now.Add(time.Minute)
	e := s.event(alarm.Raised, name, severity)
	if is := s.see(name); is.On() {
		e.Since = is.Since
	}
	c, ok := s.Take(e)
	if !ok {
		s.Errorf("raising %s changed nothing", name)
	}
	return c
}

func (s *shed) end(name alarm.Name) alarm.Change {
	s.now = s.now.Add(time.Minute)
	e := s.see(name).Event
	e.Time, e.State = s.now, alarm.Cleared
	c, ok := s.Take(e)
	if !ok {
		s.Errorf("the end of %s changed nothing", name)
	}
	return c
}

// act does what must be allowed; an empty name is the whole nest.
func (s *shed) act(a alarm.Action, name alarm.Name) []alarm.Change {
	s.Helper()
	all, err := s.Do(alarm.Act{Action: a, Nest: "oak", Event: name, By: "ann", At: s.now})
	if err != nil {
		s.Errorf("%s %s: %v", a, name, err)
	}
	return all
}

// all is everything the panel keeps, in its order.
func (s *shed) all() []alarm.Standing {
	_, all := s.Merge(nil)
	return all
}

// see returns what is kept of an alarm, normal where that is nothing.
func (s *shed) see(name alarm.Name) alarm.Standing {
	for _, st := range s.all() {
		if st.Nest == "oak" && st.Name == name {
			return st
		}
	}
	return alarm.Standing{Status: alarm.Normal}
}

func (s *shed) is(name alarm.Name, want alarm.Status) {
	s.Helper()
	if got := s.see(name).Status; got != want {
		s.Errorf("%s is %s, want %s", name, got, want)
	}
}

// restart stores everything and starts anew with clocks that may have leapt.
func (s *shed) restart(kept, now time.Time) {
	stored := s.all()
	s.Panel = alarm.Panel{Latch: s.Latch}
	s.Restore(stored, kept, now)
	s.now = now
}

const leap = 10 * 365 * 24 * time.Hour

func TestAcknowledgementLastsUntilThereIsSomethingNew(t *testing.T) {
	for name, c := range map[string]struct {
		then func(*shed)
		want alarm.Status
	}{
		"nothing happens":              {func(*shed) {}, alarm.Acknowledged},
		"a day passes":                 {func(s *shed) { s.Pass(24 * time.Hour) }, alarm.Acknowledged},
		"a restart":                    {func(s *shed) { s.restart(s.now, s.now.Add(time.Hour)) }, alarm.Acknowledged},
		"a restart, ten years forward": {func(s *shed) { s.restart(s.now, s.now.Add(leap)) }, alarm.Acknowledged},
		"a restart, ten years back":    {func(s *shed) { s.restart(s.now, s.now.Add(-leap)) }, alarm.Acknowledged},
		"acknowledged again":           {func(s *shed) { s.act(alarm.Acknowledge, alarm.NestHeat) }, alarm.Acknowledged},
		"grows worse":                  {func(s *shed) { s.raise(alarm.NestHeat, alarm.Urgent) }, alarm.Unacknowledged},
		"is told of one more":          {func(s *shed) { s.raise(alarm.NestHeat, alarm.Warning) }, alarm.Unacknowledged},
		"ends":                         {func(s *shed) { s.end(alarm.NestHeat) }, alarm.Normal},
		"comes again":                  {func(s *shed) { s.end(alarm.NestHeat); s.raise(alarm.NestHeat, alarm.Warning) }, alarm.Unacknowledged},
		"shelved and opened":           {func(s *shed) { s.act(alarm.Shelve, alarm.NestHeat); s.Pass(time.Hour) }, alarm.Acknowledged},
		"shelved, worse, opened": {func(s *shed) {
			s.act(alarm.Shelve, "")
			s.raise(alarm.NestHeat, alarm.Warning) // no higher: the shelf holds
			s.is(alarm.NestHeat, alarm.Shelved)
			s.Pass(time.Hour)
		}, alarm.Unacknowledged},
		"suppressed and opened": {func(s *shed) {
			s.Suppress("oak", alarm.NestHeat, alarm.BusFault)
			s.is(alarm.NestHeat, alarm.Suppressed)
			s.Suppress("oak", alarm.NestHeat, "")
		}, alarm.Acknowledged},
	} {
		t.Run(name, func(t *testing.T) {
			s := newShed(t)
			s.raise(alarm.NestHeat, alarm.Warning)
			s.is(alarm.NestHeat, alarm.Unacknowledged)
			s.act(alarm.Acknowledge, alarm.NestHeat)
			c.then(s)
			s.is(alarm.NestHeat, c.want)
		})
	}
	s := newShed(t)
	s.raise(alarm.NestHeat, alarm.Warning)
	s.act(alarm.Acknowledge, alarm.NestHeat)
	at := s.now
	if _, err := s.Do(alarm.Act{Action: alarm.Acknowledge, Nest: "oak", Event: alarm.NestHeat, By: "ben", At: at.Add(time.Hour)}); err != nil {
		t.Fatal(err)
	}
	if st := s.see(alarm.NestHeat); st.By != "ann" || !st.Acknowledged.Equal(at) {
		t.Errorf("acknowledged by %s at %v; want the first, ann at %v", st.By, st.Acknowledged, at)
	}
}

// What nobody has seen stays after its end where it was more than a notice, also where it had fallen to one, and where it is latched.
func TestTheEndOfAnAlarm(t *testing.T) {
	for name, c := range map[string]struct {
		name     alarm.Name
		severity alarm.Severity
		then     func(*shed)
		want     alarm.Status
	}{
		"urgent":       {alarm.NestHeat, alarm.Urgent, nil, alarm.Returned},
		"warning":      {alarm.ToteWet, alarm.Warning, nil, alarm.Returned},
		"notice":       {alarm.CheckNest, alarm.Notice, nil, alarm.Normal},
		"chore":        {alarm.BeddingDue, alarm.Notice, nil, alarm.Normal},
		"urging chore": {alarm.VentilationDue, alarm.Warning, nil, alarm.Normal},
		"fell quietly to a notice": {alarm.ProbeSilent, alarm.Urgent, func(s *shed) {
			is := s.see(alarm.ProbeSilent)
			is.Severity = alarm.Notice
			s.Stand([]alarm.Standing{is}, s.now)
		}, alarm.Returned},
		"seen":              {alarm.NestHeat, alarm.Urgent, func(s *shed) { s.act(alarm.Acknowledge, alarm.NestHeat) }, alarm.Normal},
		"latched, not seen": {alarm.ClusterHeat, alarm.Urgent, nil, alarm.Returned},
		"latched, seen":     {alarm.ClusterHeat, alarm.Urgent, func(s *shed) { s.act(alarm.Acknowledge, alarm.ClusterHeat) }, alarm.Returned},
		"latched, seen, a restart": {alarm.ClusterHeat, alarm.Urgent, func(s *shed) {
			s.act(alarm.Acknowledge, alarm.ClusterHeat)
			s.restart(s.now, s.now)
		}, alarm.Returned},
		"latched notice, seen": {alarm.ClusterHeat, alarm.Notice, func(s *shed) { s.act(alarm.Acknowledge, alarm.ClusterHeat) }, alarm.Normal},
	} {
		t.Run(name, func(t *testing.T) {
			s := newShed(t)
			s.Latch = []alarm.Name{alarm.ClusterHeat}
			s.raise(c.name, c.severity)
			if c.then != nil {
				c.then(s)
			}
			told := s.end(c.name)
			s.is(c.name, c.want)
			if told.Status != c.want || told.Did != alarm.Clear || told.State != alarm.Cleared || told.On() {
				t.Errorf("told %+v", told)
			}
			if c.want == alarm.Normal {
				return
			}
			if st := s.see(c.name); st.State != alarm.Raised || !st.Over.Equal(s.now) || st.On() {
				t.Errorf("kept %+v; want it as it was raised, and over", st)
			}
			s.restart(s.now, s.now.Add(time.Hour))
			s.is(c.name, alarm.Returned)
			s.act(alarm.Acknowledge, c.name)
			s.is(c.name, alarm.Normal)
			s.raise(c.name, c.severity)
			s.end(c.name)
			s.is(c.name, alarm.Returned)
			if s.see(c.name).Latched {
				t.Error("latched although nobody has seen it yet")
			}
		})
	}
}

// A shelf lasts its time, neither more nor less, whatever the clock on the wall does and however often the daemon starts anew.
func TestShelfEndsByTheTimeThatPasses(t *testing.T) {
	for name, c := range map[string]struct {
		event alarm.Name
		asked time.Duration
		want  time.Duration
	}{
		"longest":        {alarm.ToteWet, 0, 8 * time.Hour},
		"danger":         {alarm.NestHeat, 0, time.Hour},
		"asked for less": {alarm.ToteWet, 90 * time.Minute, 90 * time.Minute},
		"whole nest":     {"", 0, time.Hour},
	} {
		for _, off := range []time.Duration{0, leap, -leap} {
			t.Run(fmt.Sprint(name, ", act ", off.Hours()/24, " days off"), func(t *testing.T) {
				s := newShed(t)
				s.raise(alarm.ToteWet, alarm.Warning)
				s.raise(alarm.NestHeat, alarm.Warning)
				if _, err := s.Do(alarm.Act{Action: alarm.Shelve, Nest: "oak", Event: c.event, For: c.asked, At: s.now.Add(off)}); err != nil {
					t.Fatal(err)
				}
				shelved := c.event
				if shelved == "" {
					shelved = alarm.ToteWet
				}
				past := time.Duration(0)
				for ; past+time.Minute < c.want; past += time.Minute {
					if all := s.Pass(time.Minute); len(all) > 0 {
						t.Fatalf("ended after %v: %v", past, all)
					}
					s.is(shelved, alarm.Shelved)
					s.restart(s.now, s.now.Add(-leap)) // the clock goes back at each start: no time seems to have passed
				}
				all := s.Pass(time.Minute)
				if len(all) == 0 || all[0].Did != alarm.Unshelve || all[0].From != alarm.Shelved {
					t.Fatalf("%v do not end it: %v", c.want, all)
				}
				s.is(shelved, alarm.Unacknowledged)
				s.is("", alarm.Normal)
			})
		}
	}
}

// Time off counts where the clock can tell it; a clock that has leapt ends a shelf rather than lengthen it, and the end is told.
func TestShelfOverARestart(t *testing.T) {
	for name, c := range map[string]struct {
		off  time.Duration
		left time.Duration
	}{
		"at once":           {0, 40 * time.Minute},
		"half an hour":      {30 * time.Minute, 10 * time.Minute},
		"too long":          {2 * time.Hour, 0},
		"ten years forward": {leap, 0},
		"ten years back":    {-leap, 40 * time.Minute},
	} {
		t.Run(name, func(t *testing.T) {
			s := newShed(t)
			s.raise(alarm.NestHeat, alarm.Urgent)
			s.act(alarm.Shelve, alarm.NestHeat)
			s.Pass(20 * time.Minute)
			s.restart(s.now, s.now.Add(c.off))
			st := s.see(alarm.NestHeat)
			if st.Status != alarm.Shelved || st.Left != c.left || !st.Until.Equal(s.now.Add(c.left)) {
				t.Errorf("%+v; want %v left", st, c.left)
			}
			if all := s.Pass(0); (len(all) == 1) != (c.left == 0) {
				t.Errorf("told %v with %v left", all, c.left)
			}
		})
	}
	t.Run("stored nonsense", func(t *testing.T) {
		s := newShed(t)
		st := alarm.Standing{Event: s.event(alarm.Raised, alarm.NestHeat, alarm.Urgent), Status: alarm.Shelved, Left: leap, Until: noon.Add(leap)}
		s.Restore([]alarm.Standing{st}, noon, noon)
		if got := s.see(alarm.NestHeat).Left; got != time.Hour {
			t.Errorf("%v left, want an hour", got)
		}
	})
}

// A shelf holds for what it was made for. What grows worse is told, and stays told while the rest of the nest is shelved.
func TestShelfEndsWhenTheAlarmGrowsWorse(t *testing.T) {
	for _, whole := range []bool{false, true} {
		for _, restarts := range []bool{false, true} {
			t.Run(fmt.Sprintf("whole nest %v, restart %v", whole, restarts), func(t *testing.T) {
				s := newShed(t)
				s.raise(alarm.NestHeat, alarm.Warning)
				name := alarm.NestHeat
				if whole {
					name = ""
				}
				s.act(alarm.Shelve, name)
				if restarts {
					s.restart(s.now, s.now)
				}
				s.end(alarm.NestHeat)
				s.raise(alarm.NestHeat, alarm.Warning)
				s.is(alarm.NestHeat, alarm.Shelved)
				c := s.raise(alarm.NestHeat, alarm.Urgent)
				s.is(alarm.NestHeat, alarm.Unacknowledged)
				if c.Status != alarm.Unacknowledged || c.From != alarm.Shelved || c.Did != alarm.Raise || c.Left != 0 || !c.Until.IsZero() {
					t.Errorf("told %+v", c)
				}
				s.end(alarm.NestHeat)
				s.raise(alarm.NestHeat, alarm.Urgent)
				s.is(alarm.NestHeat, alarm.Unacknowledged)
			})
		}
	}
}

// Shelving an alarm that does not stand, or a whole nest, holds for whatever comes, however bad; its time is short for that.
func TestShelfForWhatComes(t *testing.T) {
	for _, name := range []alarm.Name{alarm.ClusterChill, ""} {
		for _, restarts := range []bool{false, true} {
			t.Run(fmt.Sprintf("%q, restart %v", name, restarts), func(t *testing.T) {
				s := newShed(t)
				s.act(alarm.Shelve, name)
				s.Pass(20 * time.Minute)
				s.raise(alarm.ClusterChill, alarm.Warning)
				if restarts {
					s.restart(s.now, s.now)
				}
				s.raise(alarm.ClusterChill, alarm.Urgent)
				st := s.see(alarm.ClusterChill)
				if st.Status != alarm.Shelved || st.Left != 40*time.Minute || st.By != "ann" {
					t.Errorf("%+v; want it shelved by ann for 40 min more", st)
				}
				if s.Pass(39 * time.Minute) != nil {
					t.Error("it ended early")
				}
				told := s.Pass(time.Minute)
				if len(told) == 0 || told[0].Name != alarm.ClusterChill || told[0].Status != alarm.Unacknowledged || told[0].Severity != alarm.Urgent {
					t.Errorf("told %v", told)
				}
				if n := len(s.all()); n != 1 {
					t.Errorf("%d are kept, want the alarm only", n)
				}
			})
		}
	}
}

func TestWholeNest(t *testing.T) {
	for name, c := range map[string]struct {
		hide, show alarm.Action
		status     alarm.Status
	}{"shelved": {alarm.Shelve, alarm.Unshelve, alarm.Shelved}, "out of service": {alarm.TakeOut, alarm.PutBack, alarm.OutOfService}} {
		t.Run(name, func(t *testing.T) {
			s := newShed(t)
			s.raise(alarm.NestHeat, alarm.Urgent)
			s.raise(alarm.ToteWet, alarm.Warning)
			s.act(alarm.Acknowledge, alarm.ToteWet)
			s.raise(alarm.DoeHeat, alarm.Warning)
			s.end(alarm.DoeHeat)
			site := s.event(alarm.Raised, alarm.BusFault, alarm.Warning)
			site.Nest = ""
			s.Take(site)

			if all := s.act(c.hide, ""); len(all) != 4 || all[0].Name != alarm.NestHeat || all[3].Name != "" {
				t.Errorf("told %v", all)
			}
			s.raise(alarm.ClusterChill, alarm.Urgent)
			for _, name := range []alarm.Name{alarm.NestHeat, alarm.ToteWet, alarm.DoeHeat, alarm.ClusterChill, ""} {
				s.is(name, c.status)
			}
			s.restart(s.now, s.now)
			s.raise(alarm.NestCold, alarm.Warning)
			s.is(alarm.NestCold, c.status)
			if _, ok := s.Suppress("oak", alarm.ProbeSilent, alarm.BusFault); ok {
				t.Error("a nest that a person took out of sight was suppressed")
			}
			if st := alarm.Find(s.all(), "", alarm.BusFault); st.Status != alarm.Unacknowledged {
				t.Errorf("the site's alarm is %s", st.Status)
			}

			s.act(c.show, alarm.NestCold) // one alone
			s.is(alarm.NestCold, alarm.Unacknowledged)
			s.raise(alarm.NestCold, alarm.Urgent)
			s.is(alarm.NestCold, alarm.Unacknowledged)
			s.is("", c.status)

			if all := s.act(c.show, ""); len(all) != 5 {
				t.Errorf("told %v", all)
			}
			s.is(alarm.NestHeat, alarm.Unacknowledged)
			s.is(alarm.ClusterChill, alarm.Unacknowledged)
			s.is(alarm.ToteWet, alarm.Acknowledged)
			s.is(alarm.DoeHeat, alarm.Returned)
			s.is("", alarm.Normal)
			s.raise(alarm.HeatExpected, alarm.Warning)
			s.is(alarm.HeatExpected, alarm.Unacknowledged)

			if all := s.act(alarm.Acknowledge, ""); len(all) != 6 {
				t.Errorf("told %v", all)
			}
			for _, st := range s.all() {
				if st.Nest == "oak" && st.Status != alarm.Acknowledged {
					t.Errorf("%s is %s", st.Name, st.Status)
				}
			}
			if st := alarm.Find(s.all(), "", alarm.BusFault); st.Status != alarm.Unacknowledged {
				t.Errorf("the site's alarm is %s", st.Status)
			}
			if all, err := s.Do(alarm.Act{Action: alarm.Acknowledge, At: s.now}); err != nil || len(all) != 1 || all[0].Name != alarm.BusFault {
				t.Errorf("the site: %v, %v", all, err)
			}
		})
	}
	t.Run("a longer shelf is not cut short", func(t *testing.T) {
		s := newShed(t)
		s.raise(alarm.ToteWet, alarm.Warning)
		s.act(alarm.Shelve, alarm.ToteWet)
		s.act(alarm.Shelve, "")
		if left := s.see(alarm.ToteWet).Left; left != alarm.LongestShelf {
			t.Errorf("%v left", left)
		}
	})
}

func TestSuppression(t *testing.T) {
	s := newShed(t)
	hide := func(because alarm.Name) bool {
		_, ok := s.Suppress("oak", alarm.ProbeSilent, because)
		return ok
	}
	if hide("") {
		t.Error("nothing was suppressed, and yet it was opened")
	}
	if !hide(alarm.BusFault) || hide(alarm.BusFault) || hide(alarm.PowerFault) || s.see(alarm.ProbeSilent).Because != alarm.PowerFault {
		t.Errorf("before it is raised: %+v", s.see(alarm.ProbeSilent))
	}
	s.raise(alarm.ProbeSilent, alarm.Warning)
	s.is(alarm.ProbeSilent, alarm.Suppressed)
	if s.see(alarm.ProbeSilent).First {
		t.Error("another alarm stands for it, and yet it came first")
	}
	s.restart(s.now, s.now)
	c, ok := s.Suppress("oak", alarm.ProbeSilent, "")
	if !ok || c.Status != alarm.Unacknowledged || c.Because != "" || c.Did != alarm.Unsuppress {
		t.Errorf("opened: %+v, %v", c, ok)
	}
	hide(alarm.BusFault)
	s.end(alarm.ProbeSilent)
	s.is(alarm.ProbeSilent, alarm.Suppressed)
	hide("")
	s.is(alarm.ProbeSilent, alarm.Returned)

	hide(alarm.BusFault)
	c = s.raise(alarm.ProbeSilent, alarm.Urgent) // the night is cold, and nobody is watching the kits
	if c.Status != alarm.Unacknowledged || c.From != alarm.Suppressed || c.Because != "" {
		t.Errorf("urgent, and told as %+v", c)
	}
	if hide(alarm.BusFault) {
		t.Error("an urgent alarm was suppressed")
	}
	s.act(alarm.Acknowledge, alarm.ProbeSilent)
	if hide(alarm.BusFault) {
		t.Error("an urgent alarm was suppressed, acknowledged or not")
	}
	calmer := s.see(alarm.ProbeSilent)
	calmer.Severity = alarm.Notice
	s.Stand([]alarm.Standing{calmer}, s.now)
	if !hide(alarm.BusFault) {
		t.Error("what is urgent no longer was not suppressed")
	}
	s.act(alarm.TakeOut, alarm.ProbeSilent)
	if hide(alarm.BusFault) || hide("") {
		t.Error("a person's word did not count first")
	}
	if _, ok := s.Suppress("oak", "", alarm.BusFault); ok {
		t.Error("a whole nest was suppressed")
	}
}

// A link in an old message acknowledges what that message was about, and nothing else.
func TestActMeansWhatThePersonWasToldOf(t *testing.T) {
	for name, c := range map[string]struct {
		then   func(*shed)
		wrong  string
		status alarm.Status
	}{
		"still stands":         {func(*shed) {}, "", alarm.Acknowledged},
		"ended, not seen":      {func(s *shed) { s.end(alarm.NestHeat) }, "", alarm.Normal},
		"after a restart":      {func(s *shed) { s.restart(s.now, s.now) }, "", alarm.Acknowledged},
		"worse":                {func(s *shed) { s.raise(alarm.NestHeat, alarm.Urgent) }, "it is urgent now; look at it, then acknowledge that", alarm.Unacknowledged},
		"over":                 {func(s *shed) { s.act(alarm.Acknowledge, ""); s.end(alarm.NestHeat) }, "is over; look at what stands now", alarm.Normal},
		"came again":           {func(s *shed) { s.end(alarm.NestHeat); s.raise(alarm.NestHeat, alarm.Warning) }, "came again; look at it", alarm.Unacknowledged},
		"shelved by another":   {func(s *shed) { s.act(alarm.Shelve, alarm.NestHeat) }, "unshelve it first", alarm.Shelved},
		"suppressed":           {func(s *shed) { s.Suppress("oak", alarm.NestHeat, alarm.BusFault) }, "acknowledge the alarm that stands for it", alarm.Suppressed},
		"acknowledged already": {func(s *shed) { s.act(alarm.Acknowledge, alarm.NestHeat) }, "", alarm.Acknowledged},
	} {
		t.Run(name, func(t *testing.T) {
			s := newShed(t)
			told := s.raise(alarm.NestHeat, alarm.Warning)
			c.then(s)
			_, err := s.Do(alarm.Act{
				Action: alarm.Acknowledge, Nest: "oak", Event: alarm.NestHeat, At: s.now, By: "link", Since: told.Since, Worst: told.Severity,
			})
			if c.wrong == "" && err != nil || c.wrong != "" && (err == nil || !strings.Contains(err.Error(), c.wrong)) {
				t.Errorf("%v; want %q", err, c.wrong)
			}
			s.is(alarm.NestHeat, c.status)
		})
	}
}

// An act that cannot be done changes nothing at all, and says what to do instead.
func TestRefusedActsChangeNothing(t *testing.T) {
	s := newShed(t)
	s.raise(alarm.NestHeat, alarm.Urgent)
	s.raise(alarm.ToteWet, alarm.Warning)
	s.raise(alarm.DoeHeat, alarm.Warning)
	s.raise(alarm.CheckNest, alarm.Notice)
	s.act(alarm.Shelve, alarm.ToteWet)
	s.act(alarm.TakeOut, alarm.DoeHeat)
	before := s.all()
	for name, c := range map[string]struct {
		act  alarm.Act
		want string
	}{
		"no action":                 {alarm.Act{}, "write one of: acknowledge, shelve"},
		"a rule's action":           {alarm.Act{Action: alarm.Clear}, "write one of"},
		"no such event":             {alarm.Act{Action: alarm.Shelve, Event: "nest-hot"}, "write one such as nest-heat"},
		"shelved too long":          {alarm.Act{Action: alarm.Shelve, Event: alarm.ToteWet, For: 9 * time.Hour}, "tote-wet can be shelved for 8 h at most; write a time up to that"},
		"a danger shelved too long": {alarm.Act{Action: alarm.Shelve, Event: alarm.NestHeat, For: 61 * time.Minute}, "1 h at most"},
		"a nest shelved too long":   {alarm.Act{Action: alarm.Shelve, For: 61 * time.Minute}, "a whole nest can be shelved for 1 h at most"},
		"shelved backwards":         {alarm.Act{Action: alarm.Shelve, Event: alarm.ToteWet, For: -time.Hour}, "write a time up to that"},
		"nothing stands":            {alarm.Act{Action: alarm.Acknowledge, Event: alarm.ClusterHeat}, "'nestmon alarms list' shows what can be acknowledged"},
		"not shelved":               {alarm.Act{Action: alarm.Unshelve, Event: alarm.NestHeat}, "leave it, it is not shelved"},
		"in service":                {alarm.Act{Action: alarm.PutBack, Event: alarm.NestHeat}, "leave it, it is in service"},
		"out of service":            {alarm.Act{Action: alarm.Shelve, Event: alarm.DoeHeat}, "put it back in service first"},
		"shelved":                   {alarm.Act{Action: alarm.Acknowledge, Event: alarm.ToteWet}, "unshelve it first"},
		"one of a nest grew worse":  {alarm.Act{Action: alarm.Acknowledge, Worst: alarm.Warning}, "it is urgent now"},
		"an occurrence of a nest":   {alarm.Act{Action: alarm.Acknowledge, Since: noon}, "name the event too"},
		"a nest where none stands":  {alarm.Act{Action: alarm.Acknowledge, Nest: "elm"}, "'nestmon alarms list' shows what stands"},
	} {
		t.Run(name, func(t *testing.T) {
			a := c.act
			a.By, a.At = "ann", s.now
			if a.Nest == "" {
				a.Nest = "oak"
			}
			all, err := s.Do(a)
			if err == nil || all != nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%v, %v; want %q", all, err, c.want)
			}
			if after := s.all(); !reflect.DeepEqual(after, before) {
				t.Errorf("it changed\n%+v\nto\n%+v", before, after)
			}
		})
	}
	if _, err := s.Do(alarm.Act{Action: alarm.Acknowledge, Nest: "oak", Event: alarm.NestHeat}); err == nil || !strings.Contains(err.Error(), "say when") {
		t.Errorf("an act without a time: %v", err)
	}
}

// The first of several alarms of a nest is often the cause of the others.
func TestFirstOut(t *testing.T) {
	s := newShed(t)
	first := func(name alarm.Name, want bool) {
		t.Helper()
		if got := s.see(name).First; got != want {
			t.Errorf("%s came first: %v", name, got)
		}
	}
	s.raise(alarm.BeddingDue, alarm.Notice)
	first(alarm.BeddingDue, false) // a chore is no alarm
	s.raise(alarm.NestHeat, alarm.Warning)
	s.raise(alarm.DoeHeat, alarm.Warning)
	s.raise(alarm.NestHeat, alarm.Urgent)
	elm := s.event(alarm.Raised, alarm.NestCold, alarm.Warning)
	elm.Nest = "elm"
	if c, _ := s.Take(elm); !c.First {
		t.Error("another nest's alarm came before it")
	}
	s.restart(s.now, s.now)
	first(alarm.NestHeat, true)
	first(alarm.DoeHeat, false)
	s.end(alarm.NestHeat)
	s.raise(alarm.NestHeat, alarm.Warning)
	first(alarm.NestHeat, false) // the doe's stands since before
	s.end(alarm.NestHeat)
	s.end(alarm.DoeHeat)
	s.raise(alarm.DoeHeat, alarm.Warning)
	first(alarm.DoeHeat, true)
}

// Who did what is kept while it counts, and forgotten when something else has led to the status.
func TestWhoDidIt(t *testing.T) {
	s := newShed(t)
	by := func(want string) {
		t.Helper()
		if got := s.see(alarm.ToteWet).By; got != want {
			t.Errorf("by %q, want %q", got, want)
		}
	}
	s.raise(alarm.ToteWet, alarm.Warning)
	by("")
	s.act(alarm.Shelve, alarm.ToteWet)
	s.raise(alarm.ToteWet, alarm.Warning)
	s.end(alarm.ToteWet)
	by("ann")
	s.raise(alarm.ToteWet, alarm.Warning)
	s.Pass(alarm.LongestShelf)
	by("")
	s.act(alarm.Acknowledge, alarm.ToteWet)
	by("ann")
	s.raise(alarm.ToteWet, alarm.Warning)
	by("")
	s.act(alarm.TakeOut, alarm.ToteWet)
	s.act(alarm.PutBack, alarm.ToteWet)
	s.raise(alarm.ToteWet, alarm.Warning)
	by("")
}

// After a restart the rules know better than what was stored what is on, and the panel what was done about it.
func TestPanelAgreesWithTheRules(t *testing.T) {
	s := newShed(t)
	s.raise(alarm.NestHeat, alarm.Warning)     // goes on
	s.raise(alarm.ClusterHeat, alarm.Warning)  // is over
	s.raise(alarm.ToteWet, alarm.Warning)      // is over, and seen
	s.raise(alarm.DoeHeat, alarm.Warning)      // grew worse
	s.raise(alarm.SinkFault, alarm.Warning)    // was raised again
	s.raise(alarm.CheckNest, alarm.Notice)     // is over, a notice
	s.raise(alarm.NestCold, alarm.Warning)     // is over, out of service
	s.raise(alarm.ProbeSilent, alarm.Warning)  // was over before
	s.raise(alarm.HeatExpected, alarm.Warning) // goes on, shelved
	s.end(alarm.ProbeSilent)
	for _, name := range []alarm.Name{alarm.NestHeat, alarm.ToteWet, alarm.DoeHeat, alarm.SinkFault} {
		s.act(alarm.Acknowledge, name)
	}
	s.act(alarm.TakeOut, alarm.NestCold)
	s.act(alarm.Shelve, alarm.HeatExpected)
	s.restart(s.now, s.now.Add(time.Minute))

	on := func(name alarm.Name, severity alarm.Severity, time time.Time) alarm.Standing {
		st := alarm.Standing{Event: s.see(name).Event}
		st.Nest, st.Name, st.State, st.Severity, st.Text, st.Time = "oak", name, alarm.Raised, severity, "newer words", time
		return st
	}
	rules := []alarm.Standing{
		on(alarm.DoeHeat, alarm.Urgent, s.see(alarm.DoeHeat).Time),
		on(alarm.SinkFault, alarm.Warning, s.now),
		on(alarm.NestHeat, alarm.Warning, s.see(alarm.NestHeat).Time),
		on(alarm.HeatExpected, alarm.Warning, s.see(alarm.HeatExpected).Time),
		on(alarm.ClusterChill, alarm.Urgent, s.now), // new
	}
	var told []string
	for _, c := range s.Stand(rules, s.now) {
		told = append(told, fmt.Sprint(c.Name, " ", c.Did, " ", c.From, " ", c.Status))
	}
	if want := []string{
		"cluster-chill raise normal unacknowledged",
		"doe-heat raise acknowledged unacknowledged",
		"cluster-heat clear unacknowledged returned-unacknowledged",
		"nest-cold clear out-of-service out-of-service",
		"tote-wet clear acknowledged normal",
		"sink-fault raise acknowledged unacknowledged",
		"check-nest clear unacknowledged normal",
	}; !slices.Equal(told, want) {
		t.Errorf("told\n%s\nwant\n%s", strings.Join(told, "\n"), strings.Join(want, "\n"))
	}
	s.is(alarm.NestHeat, alarm.Acknowledged)
	s.is(alarm.ProbeSilent, alarm.Returned)
	s.is(alarm.HeatExpected, alarm.Shelved)
	if st := s.see(alarm.NestHeat); st.Text != "newer words" {
		t.Errorf("old words: %+v", st)
	}
	if all := s.Stand(rules, s.now.Add(leap)); len(all) > 0 {
		t.Errorf("the same again is told again: %v", all)
	}
	standing, quiet := s.Merge(rules)
	for i, st := range standing {
		if st.Event != rules[i].Event || st.Status != s.see(st.Name).Status {
			t.Errorf("merged %+v", st)
		}
	}
	var names []alarm.Name
	for _, st := range quiet {
		names = append(names, st.Name)
	}
	if want := []alarm.Name{alarm.ClusterHeat, alarm.NestCold, alarm.ProbeSilent}; !slices.Equal(names, want) {
		t.Errorf("quiet are %v, want %v", names, want)
	}
}

// What is on is shown as on, also before the panel has heard of it.
func TestMergeNeverHidesWhatIsOn(t *testing.T) {
	s := newShed(t)
	is := alarm.Standing{Event: s.event(alarm.Raised, alarm.NestHeat, alarm.Urgent)}
	for name, before := range map[string]func(){
		"never heard of": func() {},
		"over, not seen": func() { s.raise(alarm.NestHeat, alarm.Warning); s.end(alarm.NestHeat) },
	} {
		before()
		kept := s.all()
		standing, quiet := s.Merge([]alarm.Standing{is})
		if len(standing) != 1 || standing[0].Status != alarm.Unacknowledged || !standing[0].On() || len(quiet) > 0 {
			t.Errorf("%s: %+v, %+v", name, standing, quiet)
		}
		if !reflect.DeepEqual(s.all(), kept) {
			t.Errorf("%s: looking changed it", name)
		}
	}
}

// What an older release stored has no status, and knew nothing that was not on.
func TestRestoreOfOlderReleases(t *testing.T) {
	s := newShed(t)
	s.Restore([]alarm.Standing{
		{Event: s.event(alarm.Raised, alarm.NestHeat, alarm.Urgent)},
		{Event: s.event(alarm.Raised, alarm.ToteWet, alarm.Warning), Acknowledged: noon},
		{Event: alarm.Event{Nest: "oak", Name: alarm.DoeCold}, Status: alarm.Acknowledged}, // never on: nothing to keep
		{Event: s.event(alarm.Raised, alarm.NestCold, alarm.Warning), Status: alarm.Returned},
	}, noon, noon)
	s.is(alarm.NestHeat, alarm.Unacknowledged)
	s.is(alarm.ToteWet, alarm.Acknowledged)
	s.is(alarm.DoeCold, alarm.Normal)
	s.is(alarm.NestCold, alarm.Unacknowledged) // it is on, whatever was written
	s.end(alarm.NestHeat)
	s.is(alarm.NestHeat, alarm.Returned)
}

func TestWhatDoesNotStand(t *testing.T) {
	s := newShed(t)
	for _, e := range []alarm.Event{
		s.event(alarm.Noted, alarm.Visit, alarm.Notice), s.event(alarm.Cleared, alarm.NestHeat, alarm.Urgent), s.event(alarm.Raised, alarm.NestHeat, alarm.None),
		s.event(alarm.Raised, "", alarm.Urgent),
	} {
		if c, ok := s.Take(e); ok || len(s.all()) > 0 {
			t.Errorf("%s %s: %+v", e.Name, e.State, c)
		}
	}
}
