package main

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"nestmon/thresholds/alarm"
)

// What was learned of a nest stands under the table, a line for each sentence; a nest of which nothing is said has none.
func TestStatusTellsWhatWasLearned(t *testing.T) {
	var s stateView
	if err := json.Unmarshal([]byte(`{"time": "2031-01-05T07:00:00Z", "version": "v2.3.4", "nests": [
		{"id": "oak", "learned": {"text": ["Runs 2.2 °C (4.0 °F) ± 0.8 °C colder at night than its neighbours, 6 nights.", "Another sentence."]}},
		{"id": "elm", "learned": {"text": []}}]}`), &s); err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	s.write(&out, &config{})
	want := "learned  oak: Runs 2.2 °C (4.0 °F) ± 0.8 °C colder at night than its neighbours, 6 nights.\n         Another sentence.\n"
	if !strings.HasPrefix(out.String(), ", 2031-01-05 07:00") || !strings.Contains(out.String(), ", nestmon v2.3.4\n") {
		t.Errorf("it does not begin with the time and the program's version:\n%s", out.String())
	}
	const unset = "clock    has not been set"
	if !strings.Contains(out.String(), unset) {
		t.Errorf("nothing is said of the clock:\n%s", out.String())
	}
	out.Reset()
	s.Synced = true
	s.write(&out, &config{})
	if strings.Contains(out.String(), unset) {
		t.Errorf("a clock that is set is spoken of:\n%s", out.String())
	}
	if !strings.Contains(out.String(), want) || strings.Contains(out.String(), "learned  elm") {
		t.Errorf("got:\n%s", out.String())
	}
}

// What is judged only in part is told with its reason, and a nest no probe of which has answered is not called free of alarms.
func TestStatusClaimsNoMoreThanItKnows(t *testing.T) {
	const air, never = `{"role": "air", "quantity": "temperature", "value": 21}`, `{"role": "air", "quantity": "temperature", "value": null}`
	const blind = `{"danger": "heat", "why": "no usable reading of nest air"}, {"danger": "chill", "why": "no usable reading of the cluster"}, {"danger": "cold", "why": "no usable reading of nest air"}`
	for name, row := range map[string]struct {
		nest  string
		want  []string
		waits bool
	}{
		"in part": {
			`"severity": "none", "values": [` + air + `], "judged": [{"danger": "heat", "judged": true}, {"danger": "chill", "judged": true, "why": "by a fall of its warmth only: the probe lies badly"}, {"danger": "damp", "why": "cold air"}]`,
			[]string{"none", "chill in part: by a fall of its warmth only: the probe lies badly; wet bedding: cold air"},
			false,
		},
		"nothing yet": {`"severity": "none", "values": [` + never + `], "judged": [` + blind + `]`, []string{"no data yet"}, true},
		"fell silent": {
			`"severity": "none", "values": [{"role": "air", "quantity": "temperature", "value": null, "age_s": 1925}, {"role": "air", "quantity": "humidity", "value": null, "age_s": 731}, ` + never + `], "judged": [` + blind + `]`,
			[]string{"no data for 12m"},
			true,
		},
		"long silent":           {`"severity": "none", "values": [{"role": "air", "quantity": "temperature", "value": null, "age_s": 9000}], "judged": [` + blind + `]`, []string{"no data for 2h30m"}, true},
		"a silent probe rings":  {`"severity": "urgent", "values": [` + never + `], "judged": [` + blind + `]`, []string{"urgent"}, true},
		"measured, no litter":   {`"severity": "none", "values": [` + air + `], "judged": [{"danger": "chill", "why": "no litter entered"}]`, []string{"none", "chill: no litter entered"}, false},
		"past a limit":          {`"severity": "none", "past_limit": {"where": "above"}, "values": [` + air + `], "judged": []`, []string{"over the limit"}, false},
		"past the urgent one":   {`"severity": "warning", "past_limit": {"where": "above", "urgent": true}, "values": [` + air + `], "judged": []`, []string{"over the urgent limit, warning"}, false},
		"a chore cannot wait":   {`"severity": "warning", "values": [` + air + `], "judged": []`, []string{"warning"}, false},
		"one of two has answer": {`"severity": "none", "values": [` + air + `, ` + never + `], "judged": [` + blind + `]`, []string{"none"}, false},
	} {
		t.Run(name, func(t *testing.T) {
			var s stateView
			if err := json.Unmarshal([]byte(`{"nests": [{"id": "oak", `+row.nest+`}]}`), &s); err != nil {
				t.Fatal(err)
			}
			var out strings.Builder
			s.write(&out, &config{})
			for _, want := range row.want {
				if !strings.Contains(out.String(), "  "+want) {
					t.Errorf("%q is not in:\n%s", want, out.String())
				}
			}
			if got := s.Nests[0].waits(); got != row.waits || strings.Contains(out.String(), "no data ") != (row.waits && s.Nests[0].Severity == "none") {
				t.Errorf("waits %v, want %v:\n%s", got, row.waits, out.String())
			}
		})
	}
}

func TestStatusShowsTheBattery(t *testing.T) {
	var s stateView
	if err := json.Unmarshal([]byte(`{"battery": {"values": [{"role": "battery", "quantity": "voltage", "value": 12.61}, {"role": "battery", "quantity": "current", "value": null}]}}`), &s); err != nil {
		t.Fatal(err)
	}
	var with, without, silent strings.Builder
	s.write(&with, &config{})
	age := 7200.0
	for i := range s.Battery.Values {
		s.Battery.Values[i].Value, s.Battery.Values[i].Age = nil, &age
	}
	if s.write(&silent, &config{}); !strings.Contains(silent.String(), "\nbattery  no data for 2h\n") {
		t.Errorf("silent: got:\n%s", silent.String())
	}
	stateView{}.write(&without, &config{})
	if !strings.Contains(with.String(), "\nbattery  12.6 V, -\n") || strings.Contains(without.String(), "battery") {
		t.Errorf("got:\n%s and without one:\n%s", with.String(), without.String())
	}
}

// That something arrives is said as well as that it does not.
func TestStatusSaysWhatWasSent(t *testing.T) {
	var s stateView
	if err := json.Unmarshal([]byte(`{"sinks": [
		{"sink": "mqtt", "ok": true, "last_ok": "2031-07-19T15:04:30Z"}, {"sink": "influx", "error": "influx: no answer", "last_ok": "2031-07-19T14:00:00Z"}, {"sink": "mobile", "ok": true, "last_ok": null}]}`), &s); err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	s.write(&out, &config{})
	if want := "sent     mqtt 2031-07-19 15:04, influx 2031-07-19 14:00, mobile nothing yet\nfailing  influx: no answer\n"; !strings.Contains(out.String(), want) {
		t.Errorf("got:\n%s\nwant %s", out.String(), want)
	}
}

func TestAlarmTellsWhenItWasSeen(t *testing.T) {
	at := time.Date(2031, 7, 19, 15, 4, 0, 0, time.UTC)
	a := alarmView{Event: "nest-heat", Severity: "urgent", Since: at.Add(-time.Hour)}
	for _, row := range []struct {
		seen *time.Time
		want string
	}{{nil, "urgent   site nest-heat since 2031-07-19 14:04\n"}, {&at, "urgent   site nest-heat since 2031-07-19 14:04, seen 15:04\n"}} {
		var out strings.Builder
		if a.Acknowledged = row.seen; row.seen != nil {
			a.Status = string(alarm.Acknowledged)
		}
		if a.write(&out, time.UTC); !strings.HasPrefix(out.String(), row.want) {
			t.Errorf("got %q, want %q", out.String(), row.want)
		}
	}
}

// What nobody was called for is not said to be acknowledged, and a chore that is seen is not done.
func TestAcknowledgingANestSaysWhatItMeant(t *testing.T) {
	var s stateView
	if err := json.Unmarshal([]byte(`{"alarms": [
		{"nest": "oak", "event": "nest-heat", "alarm": true, "status": "unacknowledged"}, {"nest": "oak", "event": "probe-silent", "alarm": true, "status": "acknowledged"},
		{"nest": "oak", "event": "inspect-due", "chore": true, "status": "unacknowledged"}, {"nest": "elm", "event": "inspect-due", "chore": true, "status": "unacknowledged"},
		{"nest": "elm", "event": "box-due", "chore": true, "status": "unacknowledged"}, {"nest": null, "event": "sink-fault", "alarm": true, "status": "unacknowledged"}],
		"quiet": [{"nest": "oak", "event": "nest-cold", "alarm": true, "status": "returned-unacknowledged"}]}`), &s); err != nil {
		t.Fatal(err)
	}
	for nest, want := range map[string]string{
		"oak": "Of nest oak acknowledged: nest-heat, nest-cold; each calls again when it grows worse, or ends and comes again; 1 chore is marked seen, not done",
		"elm": "Nothing of nest elm called anybody; 2 chores are marked seen, not done",
		"":    "Of the site acknowledged: sink-fault; each calls again when it grows worse, or ends and comes again",
	} {
		if got := s.seen(nest); got != want {
			t.Errorf("%q: got %q, want %q", nest, got, want)
		}
	}
}
