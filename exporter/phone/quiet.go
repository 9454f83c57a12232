package phone

import (
	"fmt"
	"time"

	"nestmon/thresholds/alarm"
)

// Window is a span of every day in local time, such as 22:00 to 06:00. From equal to To is no time at all.
type Window struct {
	From string `yaml:"from"`
	To   string `yaml:"to"`
}

// clock is the form of From and To.
const clock = "15:04"

func (w Window) validate(report func(path, problem string)) {
	for path, text := range map[string]string{"from": w.From, "to": w.To} {
		if _, err := time.Parse(clock, text); err != nil {
			report(path, fmt.Sprintf("%q is no time of day; write it like \"22:00\"", text))
		}
	}
}

// covers reports whether the wall clock of t lies within the window.
func (w Window) covers(t time.Time) bool {
	from, err := time.Parse(clock, w.From)
	to, err2 := time.Parse(clock, w.To)
	if err != nil || err2 != nil {
		return false
	}
	f, e, at := minutes(from), minutes(to), minutes(t)
	if f <= e {
		return f <= at && at < e
	}
	return at >= f || at < e
}

func minutes(t time.Time) int { return t.Hour()*60 + t.Minute() }

// passes lists the alarms that wake a person when they begin or grow worse, whatever their severity above notice: what can
// kill kits within a night, and what makes nestmon blind to it. A dead bus stands for all its probes.
var passes = map[alarm.Name]bool{
	alarm.NestHeat: true, alarm.ClusterHeat: true, alarm.HeatExpected: true, alarm.ClusterChill: true, alarm.NestCold: true,
	alarm.DoeHeat: true, alarm.DoeCold: true, alarm.ProbeSilent: true, alarm.ProbeFault: true, alarm.BusFault: true,
}

// Hold says when a message about e may go: now, or at the end of the quiet hours. Their clock is that of loc.
//
// Urgent never waits, its end included: somebody is up because of it. Of the warnings only what may cost kits before the
// morning goes at once, and only when it gets worse. Chores wait whatever their severity.
func (c Config) Hold(e alarm.Event, now time.Time, loc *time.Location) time.Time {
	worse := e.State == alarm.Raised && e.Severity == alarm.Warning && passes[e.Name]
	urgent := e.Severity == alarm.Urgent && !e.Name.Chore()
	if c.QuietHours == nil || urgent || worse {
		return now
	}
	// Minute by minute, because a wall clock jumps: the hour that names the end may come twice or not at all.
	const longest = 25 * 60 // minutes of the longest day
	at := now
	for range longest {
		if !c.QuietHours.covers(at.In(loc)) {
			return at
		}
		at = at.Truncate(time.Minute).Add(time.Minute)
	}
	return now
}
