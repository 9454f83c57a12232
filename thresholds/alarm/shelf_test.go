package alarm_test

import (
	"fmt"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
)

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
					if all := append(s.Pass(-time.Hour), s.Pass(time.Minute)...); len(all) > 0 {
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
				if s.Pass(39*time.Minute) != nil {
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
	t.Run("what is over by then is shelved for whatever comes", func(t *testing.T) {
		s := newShed(t)
		s.raise(alarm.NestHeat, alarm.Warning)
		s.act(alarm.Shelve, alarm.NestHeat)
		s.end(alarm.NestHeat)
		s.act(alarm.Shelve, "")
		s.raise(alarm.NestHeat, alarm.Urgent)
		s.is(alarm.NestHeat, alarm.Shelved)
	})
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
	if c := s.raise(alarm.DoeHeat, alarm.Warning); !c.First {
		t.Error("what another alarm stands for came before it")
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
	s.Stand([]alarm.Standing{calmer, s.see(alarm.DoeHeat)}, s.now)
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
