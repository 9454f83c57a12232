package alarm_test

import (
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
		"seen":                     {alarm.NestHeat, alarm.Urgent, func(s *shed) { s.act(alarm.Acknowledge, alarm.NestHeat) }, alarm.Normal},
		"raised again as a notice": {alarm.SinkFault, alarm.Warning, func(s *shed) { s.raise(alarm.SinkFault, alarm.Notice) }, alarm.Returned},
		"came again as a notice": {alarm.SinkFault, alarm.Warning, func(s *shed) {
			s.end(alarm.SinkFault)
			s.raise(alarm.SinkFault, alarm.Notice)
		}, alarm.Returned},
		"seen, then a notice": {alarm.SinkFault, alarm.Warning, func(s *shed) {
			s.act(alarm.Acknowledge, alarm.SinkFault)
			s.raise(alarm.SinkFault, alarm.Notice)
		}, alarm.Normal},
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
			if all := s.act(alarm.Acknowledge, c.name); len(all) != 1 || !all[0].Acknowledged.Equal(s.now) || all[0].Latched {
				t.Errorf("told %+v", all)
			}
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

// TestWhatIsJudgedAgainIsNotToldAgain: after a power cut the same minute is told a few nanoseconds later, the next one is another raise.
func TestWhatIsJudgedAgainIsNotToldAgain(t *testing.T) {
	at := time.Date(2031, 1, 5, 2, 28, 59, 999_999_990, time.UTC)
	e := alarm.Event{Time: at, Nest: "a1", Name: alarm.NestHeat, State: alarm.Raised, Severity: alarm.Urgent}
	for later, want := range map[time.Duration]int{10: 0, 400 * time.Millisecond: 0, time.Minute: 1} {
		p := alarm.Panel{}
		p.Take(e)
		again := e
		again.Time = at.Add(later)
		if got := p.Stand([]alarm.Standing{{Event: again}}, again.Time); len(got) != want {
			t.Errorf("%v later: %d told, want %d", later, len(got), want)
		}
	}
}
