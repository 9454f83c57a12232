package mqtt_test

import (
	"slices"
	"strings"
	"testing"

	"nestmon/thresholds/alarm"
)

// TestAlarmsGoFirst: an alarm does not wait behind the values of thirty nests.
func TestAlarmsGoFirst(t *testing.T) {
	b := broker(t)
	w := watch(t, b.URL())
	c := connect(t, b.URL(), nil)
	calm := summerDay()
	calm.Snapshot.Alarms, calm.Snapshot.Nests[0].Severity = nil, alarm.None
	publish(t, c, calm)
	eventually(t, "ready", func() bool { return slices.Contains(w.said("$state"), "ready") })
	w.mu.Lock()
	before := len(w.log)
	w.mu.Unlock()
	hot := summerDay()
	for i := range hot.Snapshot.Nests[1].Values {
		hot.Snapshot.Nests[1].Values[i].Value++
	}
	hot.Snapshot.Nests[0].Values[0].Value++
	publish(t, c, hot)
	eventually(t, "the values", func() bool { v, _ := w.holds("homie/5/barn/a1/cluster-temperature"); return v == "40.5" })
	w.mu.Lock()
	defer w.mu.Unlock()
	others := false
	for _, m := range w.log[before:] {
		switch first := strings.Contains(m.Topic, "/$alert/") || strings.HasSuffix(m.Topic, "/alarm"); {
		case m.Topic == state:
		case first && others:
			t.Errorf("%s came after values", m.Topic)
		default:
			others = !first
		}
	}
	if !others {
		t.Error("no values came")
	}
}
