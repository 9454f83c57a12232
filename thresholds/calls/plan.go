package calls

import (
	"fmt"
	"time"

	"nestmon/thresholds/alarm"
)

// Plan says who is called and when.
type Plan struct {
	Contacts []Contact // in the order in which they are called; without any, nobody is
	Quiet    Window
	Holds    alarm.Severity // the highest severity that waits in the quiet hours; None for Warning
	Repeat   time.Duration  // 0 for 10 min
	Escalate int            // repeats until the next contact is called too; 0 for 3
	Digest   Clock          // when what could wait is told; Never, or within the quiet hours, for their end; without any, 07:00
	AllWell  Clock          // when it is told how things stand; Never for not at all
	Zone     *time.Location
}

// Contact is somebody who can be called.
type Contact struct {
	Name    string
	AtLeast alarm.Severity // of what this contact wants to know
}

// Ours, no source, but where it says otherwise.
const (
	defaultRepeat   = 10 * time.Minute
	defaultEscalate = 3 // half an hour
	morningDigest   = Clock(7 * 60)

	// stormAfter is how many calls within stormWindow are made one by one. Ten alarms in ten minutes is the flood that a vendor's audit sheet
	// of alarm systems names for an operator at a desk; half of it is enough for somebody with a phone.
	stormAfter  = 5
	stormWindow = 10 * time.Minute
	// slowAfter repeats that nobody answered, they come slowFactor times as far apart.
	slowAfter  = 12
	slowFactor = 6
	// mostHeld bounds what waits for the digest.
	mostHeld = 200
)

// Clock is a time of day in minutes after midnight.
type Clock int

// Never is no time of day.
const Never Clock = -1

// ParseClock reads a time of day such as 06:30; empty is Never.
func ParseClock(text string) (Clock, error) {
	if text == "" {
		return Never, nil
	}
	t, err := time.Parse("15:04", text)
	if err != nil {
		return Never, fmt.Errorf("%q is no time of day; write it like \"06:30\"", text)
	}
	return clockOf(t), nil
}

func clockOf(t time.Time) Clock { return Clock(t.Hour()*60 + t.Minute()) }

// String writes it as 06:30.
func (c Clock) String() string { return fmt.Sprintf("%02d:%02d", int(c)/60, int(c)%60) }

// Window is a span of every day. From equal to To is no time at all.
type Window struct{ From, To Clock }

// Covers reports whether the wall clock of t lies within the window.
func (w Window) Covers(t time.Time) bool { return w.holds(clockOf(t)) }

func (w Window) holds(at Clock) bool {
	if w.From <= w.To {
		return w.From <= at && at < w.To
	}
	return at >= w.From || at < w.To
}

// Every is the time between two calls about what is urgent and not acknowledged.
func (p Plan) Every() time.Duration {
	if p.Repeat <= 0 {
		return defaultRepeat
	}
	return p.Repeat
}

// Steps is how many repeats without an answer lead to the next contact.
func (p Plan) Steps() int {
	if p.Escalate <= 0 {
		return defaultEscalate
	}
	return p.Escalate
}

// digest is when notices and chores are told. An hour within the quiet hours is their end: on its own day it might never come to be.
func (p Plan) digest() Clock {
	switch {
	case p.Digest >= 0 && !p.Quiet.holds(p.Digest):
		return p.Digest
	case p.Quiet.From != p.Quiet.To:
		return p.Quiet.To
	}
	return morningDigest
}

func (p Plan) zone() *time.Location {
	if p.Zone == nil {
		return time.UTC
	}
	return p.Zone
}

// lowest is the least severity anybody wants to know of.
func (p Plan) lowest() alarm.Severity {
	lowest := alarm.Urgent
	for _, c := range p.Contacts {
		lowest = min(lowest, max(c.AtLeast, alarm.Notice))
	}
	return lowest
}

// vital lists the alarms that call in the quiet hours as warnings too: what can kill kits within a night, and what makes nestmon blind to
// it. A dead bus stands for all its probes.
var vital = map[alarm.Name]bool{
	alarm.NestHeat: true, alarm.ClusterHeat: true, alarm.HeatExpected: true, alarm.ClusterChill: true, alarm.NestCold: true,
	alarm.DoeHeat: true, alarm.DoeCold: true, alarm.ProbeSilent: true, alarm.ProbeFault: true, alarm.BusFault: true,
}

// quiet reports whether t lies in the quiet hours.
func (p Plan) quiet(t time.Time) bool { return p.Quiet.Covers(t.In(p.zone())) }

// waits reports whether what e tells can wait for the digest.
func (p Plan) waits(e alarm.Event, now time.Time) bool {
	switch {
	case e.Severity == alarm.Notice, e.Name.Chore():
		return true
	case e.Severity == alarm.Urgent, p.Holds == alarm.Notice:
		return false
	case e.State == alarm.Raised && vital[e.Name]:
		return false
	}
	return p.quiet(now)
}
