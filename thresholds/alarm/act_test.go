package alarm_test

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
)

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
		"nothing stands":            {alarm.Act{Action: alarm.Acknowledge, Event: alarm.ClusterHeat}, "look at what stands now"},
		"not shelved":               {alarm.Act{Action: alarm.Unshelve, Event: alarm.NestHeat}, "leave it, it is not shelved"},
		"in service":                {alarm.Act{Action: alarm.PutBack, Event: alarm.NestHeat}, "leave it, it is in service"},
		"out of service":            {alarm.Act{Action: alarm.Shelve, Event: alarm.DoeHeat}, "put it back in service first"},
		"shelved":                   {alarm.Act{Action: alarm.Acknowledge, Event: alarm.ToteWet}, "unshelve it first"},
		"one of a nest grew worse":  {alarm.Act{Action: alarm.Acknowledge, Worst: alarm.Warning}, "it is urgent now"},
		"an occurrence of a nest":   {alarm.Act{Action: alarm.Acknowledge, Since: noon}, "name the event too"},
		"a nest where none stands":  {alarm.Act{Action: alarm.Acknowledge, Nest: "elm"}, "look at what stands"},
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
