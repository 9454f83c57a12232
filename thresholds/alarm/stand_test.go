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

// What is over, and what was never on, is not found among what stands.
func TestFindTakesWhatIsOn(t *testing.T) {
	heat := func(over time.Time, severity alarm.Severity) alarm.Standing {
		return alarm.Standing{Event: alarm.Event{Nest: "oak", Name: alarm.NestHeat, Severity: severity}, Over: over}
	}
	for name, c := range map[string]struct {
		all  []alarm.Standing
		want alarm.Severity
	}{
		"on":              {[]alarm.Standing{heat(time.Time{}, alarm.Urgent)}, alarm.Urgent},
		"over":            {[]alarm.Standing{heat(noon, alarm.Urgent)}, alarm.None},
		"never on":        {[]alarm.Standing{heat(time.Time{}, alarm.None)}, alarm.None},
		"over and again":  {[]alarm.Standing{heat(noon, alarm.Urgent), heat(time.Time{}, alarm.Notice)}, alarm.Notice},
		"of another nest": {[]alarm.Standing{{Event: alarm.Event{Nest: "elm", Name: alarm.NestHeat, Severity: alarm.Urgent}}}, alarm.None},
	} {
		if got := alarm.Find(c.all, "oak", alarm.NestHeat).Severity; got != c.want {
			t.Errorf("%s: found %s, want %s", name, got, c.want)
		}
	}
}
