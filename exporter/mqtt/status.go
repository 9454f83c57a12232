package mqtt

import (
	"cmp"
	"time"

	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// minuteForm is ISO 8601 to the minute, as far as a person needs it.
const minuteForm = "2006-01-02T15:04Z"

// status says where an alarm stands between its condition and a person.
func status(st alarm.Standing) (said string) {
	switch st.Status {
	case alarm.Returned:
		return "over since " + minute(st.Over) + ", nobody has seen it"
	case alarm.Suppressed:
		return "suppressed, " + string(st.Because) + " stands for it"
	case alarm.Shelved:
		said = "shelved until " + minute(st.Until)
	case alarm.OutOfService:
		said = "out of service"
	default:
		said = string(cmp.Or(st.Status, alarm.Unacknowledged))
	}
	if st.By != "" {
		said += " (" + st.By + ")"
	}
	return said
}

func minute(t time.Time) string { return t.UTC().Format(minuteForm) }

// statuses lists the alarms of one place that are not normal. A chore is one from warning up, or when somebody wants no call for it; one
// that is not on and not over either was set aside beforehand.
func statuses(nest string, s thresholds.Snapshot) string {
	var said []string
	for _, st := range s.Alarms {
		if st.Nest == nest && (thresholds.Alarming(st.Event) || !st.Status.Calls()) {
			said = append(said, string(st.Name)+": "+status(st))
		}
	}
	for _, st := range s.Quiet {
		if st.Nest != nest {
			continue
		}
		line := cmp.Or(string(st.Name), "every alarm") + ": " + status(st)
		if st.Name != "" && st.Status != alarm.Returned {
			line += ", not on"
		}
		said = append(said, line)
	}
	return list(said)
}
