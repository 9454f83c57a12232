package calls_test

import (
	"testing"
	"time"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/calls"
)

const (
	urgent  = alarm.Urgent
	warning = alarm.Warning
	notice  = alarm.Notice
)

func TestBeginAndEnd(t *testing.T) {
	play(t, []row{
		{"began and ended", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.NestHeat, warning)
			r.minutes(3)
			r.clear("a1", alarm.NestHeat)
			r.minutes(60)
		}, []string{"1: began a1/nest-heat warning > anna", "4: ended a1/nest-heat warning > anna"}},
		{"grew worse", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.NestHeat, warning)
			r.minute()
			r.raise("a1", alarm.NestHeat, urgent)
			r.minute()
			r.acknowledge()
			r.minutes(60)
		}, []string{"1: began a1/nest-heat warning > anna", "2: grew worse a1/nest-heat urgent > anna"}},
		{"more of them", anna(), noon, func(r *rig) {
			r.raise("", alarm.SinkFault, warning)
			r.minute()
			r.raise("", alarm.SinkFault, warning)
			r.minute()
		}, []string{"1: began /sink-fault warning > anna", "2: grew worse /sink-fault warning > anna"}},
		{"fell quietly before its end", anna(), night, func(r *rig) {
			r.raise("a1", alarm.NestHeat, urgent)
			r.minute()
			r.fall("a1", alarm.NestHeat, notice)
			r.minutes(30)
			r.clear("a1", alarm.NestHeat)
			r.minute()
		}, []string{"1: began a1/nest-heat urgent > anna", "32: ended a1/nest-heat urgent > anna"}},
		{"below everybody's level", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.NestCold, notice)
			r.note(alarm.Kindled, notice)
			r.minutes(5)
			r.clear("a1", alarm.NestCold)
			r.minutes(24 * 60)
		}, nil},
		{"rose to the level", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.NestCold, notice)
			r.minute()
			r.raise("a1", alarm.NestCold, warning)
			r.minute()
		}, []string{"2: began a1/nest-cold warning > anna"}},
		{"happened", anna(), noon, func(r *rig) { r.note(alarm.DaemonFault, warning); r.minute() }, []string{"1: happened a1/daemon-fault warning > anna"}},
		{"a visit is nobody's business", talkative(), noon, func(r *rig) { r.note(alarm.Visit, notice); r.note(alarm.Inspection, notice); r.minutes(24 * 60) }, nil},
		{"nobody to call", calls.Plan{}, noon, func(r *rig) { r.raise("a1", alarm.NestHeat, urgent); r.minutes(30) }, nil},
		{"heat that came is not over", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.HeatExpected, warning)
			r.raise("a2", alarm.HeatExpected, warning)
			r.minutes(30)
			r.raise("a1", alarm.NestHeat, warning)
			r.clear("a1", alarm.HeatExpected)
			r.clear("a2", alarm.HeatExpected)
			r.minutes(30)
			r.clear("a1", alarm.NestHeat)
			r.minute()
		}, []string{
			"1: began a1/heat-expected warning > anna", "1: began a2/heat-expected warning > anna",
			"31: began a1/nest-heat warning > anna", "31: ended a2/heat-expected warning > anna", "61: ended a1/nest-heat warning > anna",
		}},
		{"over while it is shelved", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.ToteWet, warning)
			r.minute()
			r.do(alarm.Shelve, "a1", alarm.ToteWet)
			r.minute()
			r.clear("a1", alarm.ToteWet)
			r.minutes(10 * 60)
		}, []string{"1: began a1/tote-wet warning > anna"}},
		{"still there after its shelf", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.NestHeat, urgent)
			r.minute()
			r.do(alarm.Shelve, "a1", alarm.NestHeat) // for an hour at most
			r.minutes(61)
			r.acknowledge()
			r.minutes(60)
		}, []string{"1: began a1/nest-heat urgent > anna", "61: grew worse a1/nest-heat urgent > anna"}},
		{"raised on its shelf", anna(), noon, func(r *rig) {
			r.do(alarm.Shelve, "a1", alarm.ToteWet)
			r.raise("a1", alarm.ToteWet, warning)
			r.minutes(481)
		}, []string{"480: began a1/tote-wet warning > anna"}},
		{"back in service", anna(), noon, func(r *rig) {
			r.do(alarm.TakeOut, "a1", alarm.NestHeat)
			r.raise("a1", alarm.NestHeat, urgent)
			r.minutes(600)
			r.do(alarm.PutBack, "a1", alarm.NestHeat)
			r.acknowledge()
			r.minutes(60)
		}, []string{"600: began a1/nest-heat urgent > anna"}},
		{"urgent, come and gone within one step", quietly(anna()), night, func(r *rig) {
			r.raise("a1", alarm.NestHeat, urgent)
			r.clear("a1", alarm.NestHeat)
			r.minutes(300)
		}, []string{"1: ended a1/nest-heat urgent > anna"}},
		{"a warning, come and gone within one step", quietly(anna()), night, func(r *rig) {
			r.raise("a1", alarm.NestHeat, warning)
			r.clear("a1", alarm.NestHeat)
			r.minutes(300)
		}, []string{"210: waited a1/nest-heat warning cleared > anna"}},
		{"seen, then come again", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.NestHeat, urgent)
			r.minute()
			r.acknowledge()
			r.minute()
			r.clear("a1", alarm.NestHeat)
			r.minute()
			r.raise("a1", alarm.NestHeat, urgent)
			r.minutes(11)
		}, []string{
			"1: began a1/nest-heat urgent > anna", "3: ended a1/nest-heat urgent > anna",
			"4: began a1/nest-heat urgent > anna", "14: not acknowledged a1/nest-heat urgent > anna #1",
		}},
	})
}

// talkative is anna, who wants to know everything.
func talkative() calls.Plan {
	p := anna()
	p.Contacts[0].AtLeast = notice
	return p
}

func TestRepeats(t *testing.T) {
	play(t, []row{
		{"only what is urgent", anna(), noon, func(r *rig) { r.raise("a1", alarm.NestHeat, warning); r.minutes(300) }, []string{"1: began a1/nest-heat warning > anna"}},
		{"every ten minutes, then slower", anna(), noon, func(r *rig) { r.raise("a1", alarm.NestHeat, urgent); r.minutes(300) }, []string{
			"1: began a1/nest-heat urgent > anna", "11: not acknowledged a1/nest-heat urgent > anna #1", "21: not acknowledged a1/nest-heat urgent > anna #2",
			"31: not acknowledged a1/nest-heat urgent > anna #3", "41: not acknowledged a1/nest-heat urgent > anna #4",
			"51: not acknowledged a1/nest-heat urgent > anna #5", "61: not acknowledged a1/nest-heat urgent > anna #6",
			"71: not acknowledged a1/nest-heat urgent > anna #7", "81: not acknowledged a1/nest-heat urgent > anna #8",
			"91: not acknowledged a1/nest-heat urgent > anna #9", "101: not acknowledged a1/nest-heat urgent > anna #10",
			"111: not acknowledged a1/nest-heat urgent > anna #11", "121: not acknowledged a1/nest-heat urgent > anna #12",
			"181: not acknowledged a1/nest-heat urgent > anna #13", "241: not acknowledged a1/nest-heat urgent > anna #14",
		}},
		{"slower, until it grows worse", anna(), noon, func(r *rig) {
			r.raise("", alarm.SinkFault, urgent)
			r.minutes(125)
			r.made = nil
			r.raise("", alarm.SinkFault, urgent) // one more of them
			r.minutes(12)
		}, []string{"126: grew worse /sink-fault urgent > anna", "136: not acknowledged /sink-fault urgent > anna #1"}},
		{"until it is acknowledged", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.NestHeat, urgent)
			r.minutes(12)
			r.acknowledge()
			r.minutes(300)
		}, []string{"1: began a1/nest-heat urgent > anna", "11: not acknowledged a1/nest-heat urgent > anna #1"}},
		{"until it is shelved", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.NestHeat, urgent)
			r.minutes(12)
			r.do(alarm.Shelve, "a1", alarm.NestHeat)
			r.minutes(50)
		}, []string{"1: began a1/nest-heat urgent > anna", "11: not acknowledged a1/nest-heat urgent > anna #1"}},
		{"until the nest is out of service", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.NestHeat, urgent)
			r.minutes(12)
			r.do(alarm.TakeOut, "a1", "")
			r.minutes(300)
		}, []string{"1: began a1/nest-heat urgent > anna", "11: not acknowledged a1/nest-heat urgent > anna #1"}},
		{"until it is over", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.NestHeat, urgent)
			r.minutes(12)
			r.clear("a1", alarm.NestHeat)
			r.minutes(60)
		}, []string{"1: began a1/nest-heat urgent > anna", "11: not acknowledged a1/nest-heat urgent > anna #1", "13: ended a1/nest-heat urgent > anna"}},
		{"until it has fallen", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.NestHeat, urgent)
			r.minutes(5)
			r.fall("a1", alarm.NestHeat, warning)
			r.minutes(60)
		}, []string{"1: began a1/nest-heat urgent > anna"}},
		{"two in one call", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.NestHeat, urgent)
			r.minutes(4)
			r.raise("b2", alarm.ClusterChill, urgent)
			r.minutes(20)
		}, []string{
			"1: began a1/nest-heat urgent > anna", "5: began b2/cluster-chill urgent > anna",
			"11: not acknowledged a1/nest-heat urgent b2/cluster-chill urgent > anna #1", "21: not acknowledged a1/nest-heat urgent b2/cluster-chill urgent > anna #2",
		}},
		{"at another pace", pace(5, 0), noon, func(r *rig) { r.raise("a1", alarm.NestHeat, urgent); r.minutes(12) }, []string{
			"1: began a1/nest-heat urgent > anna", "6: not acknowledged a1/nest-heat urgent > anna #1", "11: not acknowledged a1/nest-heat urgent > anna #2",
		}},
	})
}

// pace is the family, called at other intervals.
func pace(minutes, escalate int) calls.Plan {
	p := family()
	p.Repeat, p.Escalate = time.Duration(minutes)*time.Minute, escalate
	return p
}

func TestContacts(t *testing.T) {
	mixed := anna() // anna sleeps through warnings, berta reads everything, carl is called last
	mixed.Contacts = []calls.Contact{{Name: "anna", AtLeast: urgent}, {Name: "berta", AtLeast: notice}, {Name: "carl", AtLeast: urgent}}
	play(t, []row{
		{"one after the other", pace(10, 2), noon, func(r *rig) { r.raise("a1", alarm.NestHeat, urgent); r.minutes(62) }, []string{
			"1: began a1/nest-heat urgent > anna", "11: not acknowledged a1/nest-heat urgent > anna #1",
			"21: not acknowledged a1/nest-heat urgent > anna berta #2 fresh berta", "31: not acknowledged a1/nest-heat urgent > anna berta #3",
			"41: not acknowledged a1/nest-heat urgent > anna berta carl #4 fresh carl", "51: not acknowledged a1/nest-heat urgent > anna berta carl #5",
			"61: not acknowledged a1/nest-heat urgent > anna berta carl #6",
		}},
		{"the end goes to all who were called", pace(10, 1), noon, func(r *rig) {
			r.raise("a1", alarm.NestHeat, urgent)
			r.minutes(12)
			r.clear("a1", alarm.NestHeat)
			r.minute()
			r.raise("a1", alarm.NestHeat, warning)
			r.minute()
		}, []string{
			"1: began a1/nest-heat urgent > anna", "11: not acknowledged a1/nest-heat urgent > anna berta #1 fresh berta",
			"13: ended a1/nest-heat urgent > anna berta", "14: began a1/nest-heat warning > anna",
		}},
		{"the first wants to know of it", mixed, noon, func(r *rig) {
			r.raise("a1", alarm.NestHeat, warning)
			r.minute()
			r.raise("a1", alarm.NestHeat, urgent)
			r.minutes(31)
			r.clear("a1", alarm.NestHeat)
			r.minute()
		}, []string{
			"1: began a1/nest-heat warning > berta", "2: grew worse a1/nest-heat urgent > anna berta",
			"12: not acknowledged a1/nest-heat urgent > berta anna #1", "22: not acknowledged a1/nest-heat urgent > berta anna #2",
			"32: not acknowledged a1/nest-heat urgent > berta anna carl #3 fresh carl", "33: ended a1/nest-heat urgent > berta anna carl",
		}},
		{"the first cannot be reached", family(), noon, func(r *rig) {
			r.deaf["anna"] = true
			r.raise("a1", alarm.NestHeat, warning)
			r.raise("b2", alarm.NestHeat, urgent)
			r.minute()
		}, []string{"1: began a1/nest-heat warning > anna berta fresh berta", "1: began b2/nest-heat urgent > anna berta fresh berta"}},
		{"nor the second", family(), noon, func(r *rig) {
			r.deaf["anna"], r.deaf["berta"] = true, true
			r.raise("a1", alarm.NestHeat, urgent)
			r.minutes(9)
		}, []string{"1: began a1/nest-heat urgent > anna berta carl fresh berta carl"}},
		{"nobody can be reached", family(), noon, func(r *rig) {
			r.deaf["anna"], r.deaf["berta"], r.deaf["carl"] = true, true, true
			r.raise("a1", alarm.NestHeat, urgent)
			r.minutes(11)
		}, []string{"1: began a1/nest-heat urgent > anna berta carl fresh berta carl", "11: not acknowledged a1/nest-heat urgent > anna berta carl #1"}},
		{"all ways of the first go down later", family(), noon, func(r *rig) {
			r.raise("a1", alarm.NestHeat, urgent)
			r.minutes(3)
			r.deaf["anna"] = true
			r.minutes(11)
		}, []string{
			"1: began a1/nest-heat urgent > anna", "4: not acknowledged a1/nest-heat urgent > anna berta #1 fresh berta",
			"14: not acknowledged a1/nest-heat urgent > anna berta #2",
		}},
		{"the only one", anna(), noon, func(r *rig) {
			r.deaf["anna"] = true
			r.raise("a1", alarm.NestHeat, urgent)
			r.minutes(11)
		}, []string{"1: began a1/nest-heat urgent > anna", "11: not acknowledged a1/nest-heat urgent > anna #1"}},
		{"only of what is urgent", mixed, noon, func(r *rig) {
			r.plan.Contacts = r.plan.Contacts[:1]
			r.desk = calls.New(r.plan, calls.State{})
			r.raise("a1", alarm.NestHeat, warning)
			r.minute()
			r.raise("a1", alarm.NestHeat, urgent)
			r.minute()
		}, []string{"2: began a1/nest-heat urgent > anna"}},
	})
}

func TestDismissedContactIsCalledNoMore(t *testing.T) {
	r := newRig(t, pace(10, 1), noon)
	r.raise("a1", alarm.NestHeat, urgent)
	r.minutes(12) // anna and berta know
	r.made, r.plan = nil, family()
	r.plan.Contacts = r.plan.Contacts[1:]
	r.restart()
	r.clear("a1", alarm.NestHeat)
	r.minute()
	r.want("13: ended a1/nest-heat urgent > berta")
}

func TestWhatStoodBeforeTheFirstState(t *testing.T) {
	r := newRig(t, anna(), noon)
	r.raise("a1", alarm.NestHeat, urgent)
	r.raise("a2", alarm.NestHeat, warning)
	r.raise("a3", alarm.NestCold, notice)
	r.desk.Adopt(r.standing())
	r.changes = nil // they were told by an older release
	r.minutes(11)
	r.clear("a2", alarm.NestHeat)
	r.clear("a3", alarm.NestCold)
	r.minute()
	r.want("10: not acknowledged a1/nest-heat urgent > anna #1", "12: ended a2/nest-heat warning > anna")
}

// TestUrgentWithoutAChange: an urgent alarm whose beginning the desk never saw, such as one that stood while nobody was to be called.
func TestUrgentWithoutAChange(t *testing.T) {
	r := newRig(t, anna(), noon)
	r.raise("a1", alarm.NestHeat, urgent)
	r.changes = nil
	r.minute()
	r.want("1: began a1/nest-heat urgent > anna")
}

// TestADamagedState: what is left of it is used, and what it lacks is told anew.
func TestADamagedState(t *testing.T) {
	r := newRig(t, anna(), noon)
	r.desk = calls.New(r.plan, calls.State{Open: map[string]*calls.Open{"a1/nest-heat": nil}})
	r.raise("a1", alarm.NestHeat, urgent)
	r.minute()
	r.want("1: began a1/nest-heat urgent > anna")
}

// suppress lets another alarm stand for one, or with an empty because none any more.
func (r *rig) suppress(nest string, name, because alarm.Name) {
	if c, ok := r.panel.Suppress(nest, name, because); ok {
		r.changes = append(r.changes, c)
	}
	r.minute()
}

// TestAnotherStoodForIt: what was told before is not told again when the other is over, and what was not is.
func TestAnotherStoodForIt(t *testing.T) {
	play(t, []row{
		{"told before", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.ProbeSilent, warning)
			r.minute()
			r.suppress("a1", alarm.ProbeSilent, alarm.BusFault)
			r.suppress("a1", alarm.ProbeSilent, "")
			r.minutes(60)
			r.clear("a1", alarm.ProbeSilent)
			r.minute()
		}, []string{"1: began a1/probe-silent warning > anna", "64: ended a1/probe-silent warning > anna"}},
		{"not told before", anna(), noon, func(r *rig) {
			r.suppress("a1", alarm.ProbeSilent, alarm.BusFault)
			r.raise("a1", alarm.ProbeSilent, warning)
			r.minute()
			r.suppress("a1", alarm.ProbeSilent, "")
			r.minutes(60)
		}, []string{"3: began a1/probe-silent warning > anna"}},
		{"worse than it was told", anna(), noon, func(r *rig) {
			r.raise("a1", alarm.ProbeSilent, warning)
			r.minute()
			r.suppress("a1", alarm.ProbeSilent, alarm.BusFault)
			r.raise("a1", alarm.ProbeSilent, urgent)
			r.minute()
			r.acknowledge()
		}, []string{"1: began a1/probe-silent warning > anna", "3: grew worse a1/probe-silent urgent > anna"}},
	})
}

// TestWhoHeardOfItInARepeat: the end is told to them too.
func TestWhoHeardOfItInARepeat(t *testing.T) {
	r := newRig(t, family(), noon)
	r.raise("a1", alarm.NestHeat, urgent)
	r.minutes(24)
	r.raise("b1", alarm.NestHeat, urgent)
	r.minutes(8)
	r.made = nil
	r.clear("b1", alarm.NestHeat)
	r.minute()
	r.want("33: ended b1/nest-heat urgent > anna berta")
}

// TestANestThatIsGone: nothing is remembered of it, or it were told as something that grew worse when it comes back.
func TestANestThatIsGone(t *testing.T) {
	r := newRig(t, anna(), noon)
	r.raise("a1", alarm.ToteWet, warning)
	r.minute()
	clear(r.on)
	r.minute()
	if open := r.desk.State().Open; len(open) > 0 {
		t.Errorf("still remembered: %v", open)
	}
}

// TestRepeatsTellAll: a repeat takes the place of those before it that still wait for a channel, so nothing that nobody has answered may be missing.
func TestRepeatsTellAll(t *testing.T) {
	r := newRig(t, anna(), noon)
	r.raise("a1", alarm.NestHeat, urgent)
	r.minutes(8)
	r.raise("b1", alarm.NestHeat, urgent)
	r.minutes(15)
	r.want(
		"1: began a1/nest-heat urgent > anna", "9: began b1/nest-heat urgent > anna",
		"11: not acknowledged a1/nest-heat urgent b1/nest-heat urgent > anna #1", "21: not acknowledged a1/nest-heat urgent b1/nest-heat urgent > anna #2",
	)
}
