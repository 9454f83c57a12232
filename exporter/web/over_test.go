package web_test

import (
	"strings"
	"testing"

	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// A nest past its limit is told whatever else stands, unless an alarm of its own tells of it. The air of a1 is 36.5 °C, its limit 35.
func TestANestPastALimitIsNotHiddenByOtherAlarms(t *testing.T) {
	urgent := 36.0
	of := func(nest string, name alarm.Name, s alarm.Severity) alarm.Standing {
		return alarm.Standing{Event: alarm.Event{Nest: nest, Name: name, Severity: s}}
	}
	for name, row := range map[string]struct {
		stands []alarm.Standing
		urgent *float64
		want   string
	}{
		"nothing stands":                   {nil, nil, `{"where":"above","urgent":false}`},
		"a chore of another nest":          {[]alarm.Standing{of("b1", alarm.BoxDue, alarm.Warning)}, nil, `{"where":"above","urgent":false}`},
		"a chore of its own":               {[]alarm.Standing{of("a1", alarm.BoxDue, alarm.Warning)}, &urgent, `{"where":"above","urgent":true}`},
		"heat of another nest":             {[]alarm.Standing{of("b1", alarm.NestHeat, alarm.Urgent)}, &urgent, `{"where":"above","urgent":true}`},
		"its own chill says nothing of it": {[]alarm.Standing{of("a1", alarm.ClusterChill, alarm.Urgent)}, nil, `{"where":"above","urgent":false}`},
		"its own warning":                  {[]alarm.Standing{of("a1", alarm.NestHeat, alarm.Warning)}, nil, `null`},
		"a warning is no urgent alarm":     {[]alarm.Standing{of("a1", alarm.NestHeat, alarm.Warning)}, &urgent, `{"where":"above","urgent":true}`},
		"its own urgent alarm":             {[]alarm.Standing{of("a1", alarm.NestHeat, alarm.Urgent)}, &urgent, `null`},
	} {
		t.Run(name, func(t *testing.T) {
			s, st := server(t), state()
			st.Snapshot.Alarms, st.Snapshot.Nests[0].Limits.AirHotUrgent = row.stands, row.urgent
			if err := s.Publish(t.Context(), st); err != nil {
				t.Fatal(err)
			}
			if got := body(t, get(s.Handler(), "GET", "/api/state")); !strings.Contains(got, `"past_limit":`+row.want+"}") {
				t.Errorf("no %s in %s", row.want, got)
			}
		})
	}
}

// A probe beside a pile that is judged to be warm says nothing against it; one on a pile that is not judged does.
func TestAProbeBesideAWarmPileIsNoLimitPassed(t *testing.T) {
	for name, row := range map[string]struct {
		core   float64
		judged bool
		why    string
		want   string
	}{
		"judged, and warm":          {37, true, "", `null`},
		"judged, and cold":          {33, true, "", `{"where":"below","urgent":false}`},
		"judged with a reservation": {37, true, "by a fall only", `{"where":"below","urgent":false}`},
		"not judged":                {37, false, "no litter", `{"where":"below","urgent":false}`},
	} {
		t.Run(name, func(t *testing.T) {
			s, st := server(t), state()
			n := &st.Snapshot.Nests[0]
			cold := 34.0
			n.Values = []thresholds.Value{{Role: thresholds.Cluster, Quantity: sensors.Temperature, Value: 32, Fresh: true}}
			n.Limits.ClusterCold, n.Core, n.HasCore = &cold, row.core, true
			n.Judged = []thresholds.Judgement{{Danger: "chill", Judged: row.judged, Why: row.why}}
			st.Snapshot.Alarms = nil
			if err := s.Publish(t.Context(), st); err != nil {
				t.Fatal(err)
			}
			if got := body(t, get(s.Handler(), "GET", "/api/state")); !strings.Contains(got, `"past_limit":`+row.want+"}") {
				t.Errorf("no %s in %s", row.want, got)
			}
		})
	}
}
