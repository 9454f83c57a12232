package mqtt_test

import (
	"encoding/json"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/mqtt"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/nest"
)

var (
	noon = time.Date(2026, 7, 14, 12, 0, 0, 0, time.UTC)
	root = mqtt.Root{Base: "homie", Device: "barn", Name: "Rabbitry", Instance: "0a1b2c3d"}
)

func value(role thresholds.Role, q sensors.Quantity, v float64, fresh bool) thresholds.Value {
	return thresholds.Value{Role: role, Probe: "p-" + string(role), Quantity: q, Value: v, Time: noon.Add(-20 * time.Second), Fresh: fresh}
}

// summerDay is a state with one of everything.
func summerDay() *exporter.State {
	return &exporter.State{Snapshot: thresholds.Snapshot{
		Time: noon,
		Outside: thresholds.Place{Values: []thresholds.Value{
			value(thresholds.Outside, sensors.Temperature, 31.25, true), value(thresholds.Outside, sensors.Humidity, 40, true),
		}},
		Battery: thresholds.Place{Values: []thresholds.Value{
			value(thresholds.Battery, sensors.Voltage, 12.61, true), value(thresholds.Battery, sensors.Current, -0.15, true),
		}},
		Nests: []thresholds.NestState{
			{
				ID: "a1", Stage: thresholds.Nursing, Severity: alarm.Urgent,
				Values: []thresholds.Value{
					value(thresholds.Cluster, sensors.Temperature, 39.5, true),
					value(thresholds.Cluster2, sensors.Temperature, 38, false),
					value(thresholds.Air, sensors.Temperature, 36.06, true), value(thresholds.Air, sensors.Humidity, 55.5, true),
					value(thresholds.CO2, sensors.CO2, 1850, true),
				},
				Judged: []thresholds.Judgement{{Danger: "heat", Judged: true}, {Danger: "chill", Why: "no litter entered"}},
			},
			{
				ID: "b2", Stage: thresholds.Empty, Values: []thresholds.Value{value(thresholds.Air, sensors.Temperature, -0.5, true)},
				Judged: []thresholds.Judgement{{Danger: "heat", Judged: true, Why: "by the cluster probe only"}},
			},
		},
		Doubts: []thresholds.Doubt{
			{Probe: "p-outside", Why: nest.DoubtOdd}, {Probe: "p-air", Why: nest.DoubtWet}, {Probe: "p-cluster-2", Why: nest.DoubtSilent},
		},
		Alarms: []alarm.Standing{
			{Event: alarm.Event{Nest: "a1", Name: alarm.NestHeat, Severity: alarm.Urgent, Text: "the air in nest a1 is too hot; cool it", Rule: "air over 35 °C for 10 min", Source: "invented"}},
			{Event: alarm.Event{Nest: "a1", Name: alarm.ProbeSilent, Severity: alarm.Warning, Text: "a1-cluster-2 is silent"}, Status: alarm.Acknowledged, Acknowledged: noon},
			{Event: alarm.Event{Nest: "a1", Name: alarm.ProbeSilent, Severity: alarm.Warning, Text: "a1-co2 is silent"}, Status: alarm.Acknowledged, Acknowledged: noon},
			{Event: alarm.Event{Name: alarm.BusFault, Severity: alarm.Warning}, Status: alarm.Acknowledged, Acknowledged: noon, By: "command"},
			{Event: alarm.Event{Name: alarm.SeasonSetupDue, Severity: alarm.Notice}},
			{Event: alarm.Event{Nest: "b2", Name: alarm.BeddingDue, Severity: alarm.Notice, Text: "bed it"}, Status: alarm.OutOfService},
			{Event: alarm.Event{Nest: "b2", Name: alarm.VentilationDue, Severity: alarm.Warning, Text: "air it"}, Status: alarm.Shelved, Until: noon.Add(90 * time.Minute), By: "broker"},
		},
		Quiet: []alarm.Standing{
			{Event: alarm.Event{Nest: "a1", Name: alarm.ClusterChill, Severity: alarm.Urgent}, Status: alarm.Returned, Over: noon.Add(-time.Hour)},
			{Event: alarm.Event{Nest: "b2", Name: alarm.ToteWet}, Status: alarm.Shelved, Until: noon.Add(90 * time.Minute)},
			{Status: alarm.OutOfService, By: "anna, by command"},
		},
	}}
}

func TestTreeLaysOutAState(t *testing.T) {
	want := [][2]string{
		{"site/instance", "0a1b2c3d"},
		{"site/alarm-status", "bus-fault: acknowledged (command); every alarm: out of service (anna, by command)"},
		{"site/acknowledged-alarms", "bus-fault"},
		{"site/chores-due", "season-setup-due"},
		{"a1/cluster-temperature", "39.5"},
		{"a1/air-temperature", "36.06"},
		{"a1/air-humidity", "55.5"},
		{"a1/carbon-dioxide", "1850"},
		{"a1/reading-time", "2026-07-14T11:59:40Z"},
		{"a1/alarm", "urgent"},
		{"a1/not-judged", "chill: no litter entered"},
		{"a1/doubted-probes", "p-air: wet; p-cluster-2: silent"},
		{"a1/litter-stage", "nursing"},
		{"a1/alarm-status", "cluster-chill: over since 2026-07-14T11:00Z, nobody has seen it; nest-heat: unacknowledged; probe-silent: acknowledged"},
		{"a1/acknowledged-alarms", "probe-silent"},
		{"a1/chores-due", "none"},
		{"b2/air-temperature", "-0.5"},
		{"b2/reading-time", "2026-07-14T11:59:40Z"},
		{"b2/alarm", "none"},
		{"b2/not-judged", "none"},
		{"b2/doubted-probes", "p-air: wet"},
		{"b2/litter-stage", "empty"},
		{"b2/alarm-status", "bedding-due: out of service; tote-wet: shelved until 2026-07-14T13:30Z, not on; ventilation-due: shelved until 2026-07-14T13:30Z (broker)"},
		{"b2/acknowledged-alarms", "none"},
		{"b2/chores-due", "bedding-due; ventilation-due"},
		{"outside/air-temperature", "31.25"},
		{"outside/air-humidity", "40"},
		{"outside/reading-time", "2026-07-14T11:59:40Z"},
		{"outside/doubted-probes", "p-outside: odd"},
		{"battery/voltage", "12.61"},
		{"battery/current", "-0.15"},
		{"battery/reading-time", "2026-07-14T11:59:40Z"},
		{"$alert/a1-nest-heat", "urgent: the air in nest a1 is too hot; cool it\nStatus: unacknowledged\nRule: air over 35 °C for 10 min\nSource: invented"},
		{"$alert/a1-probe-silent", "warning: a1-cluster-2 is silent\nStatus: acknowledged\nwarning: a1-co2 is silent\nStatus: acknowledged"},
		{"$alert/site-bus-fault", "warning: bus-fault\nStatus: acknowledged (command)"},
		{"$alert/b2-ventilation-due", "warning: air it\nStatus: shelved until 2026-07-14T13:30Z (broker)"},
	}
	got := root.Tree(summerDay()).Values
	if len(got) != len(want) {
		t.Errorf("got %d topics, want %d: %v", len(got), len(want), got)
	}
	for i := range min(len(got), len(want)) {
		if g := got[i]; g.Topic != "homie/5/barn/"+want[i][0] || g.Payload != want[i][1] {
			t.Errorf("message %d is %s = %q, want %s = %q", i, g.Topic, g.Payload, want[i][0], want[i][1])
		}
	}
}

func TestWhyNotJudgedIsSaidOnce(t *testing.T) {
	rows := []struct {
		name   string
		judged []thresholds.Judgement
		want   string
	}{
		{"a reason", []thresholds.Judgement{{Danger: "chill", Why: "no litter entered"}}, "chill: no litter entered"},
		{"a reason that says it too", []thresholds.Judgement{{Danger: "chill", Why: "not judged: no litter entered"}}, "chill: no litter entered"},
		{"no reason", []thresholds.Judgement{{Danger: "chill"}}, "chill: no reason given"},
		{"two", []thresholds.Judgement{{Danger: "chill", Why: "no cluster probe"}, {Danger: "cold", Judged: true}, {Danger: "heat", Why: "no nest-air probe"}}, "chill: no cluster probe; heat: no nest-air probe"},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			s := &exporter.State{Snapshot: thresholds.Snapshot{Nests: []thresholds.NestState{{ID: "a1", Stage: thresholds.Empty, Judged: row.judged}}}}
			got := ""
			for _, m := range root.Tree(s).Values {
				if strings.HasSuffix(m.Topic, "/not-judged") {
					got = m.Payload
				}
			}
			if got != row.want {
				t.Errorf("got %q, want %q", got, row.want)
			}
		})
	}
}

// described is a $description by the tables of the Homie convention 5.0.0, "Device/Node/Property Attributes". Nothing else may be in it;
// root and parent are not for the only device there is.
type described struct {
	Homie   string `json:"homie"`
	Version *int64 `json:"version"`
	Name    string `json:"name"`
	Nodes   map[string]struct {
		Name       string `json:"name"`
		Type       string `json:"type"`
		Properties map[string]struct {
			Name     string  `json:"name"`
			Datatype string  `json:"datatype"`
			Format   *string `json:"format"`
			Settable *bool   `json:"settable"`
			Retained *bool   `json:"retained"`
			Unit     *string `json:"unit"`
		} `json:"properties"`
	} `json:"nodes"`
}

// parsed reads a description and finds everything in it that the convention does not allow.
func parsed(t *testing.T, text string) (d described) {
	t.Helper()
	in := json.NewDecoder(strings.NewReader(text))
	in.DisallowUnknownFields()
	if err := in.Decode(&d); err != nil {
		t.Fatalf("%v in %s", err, text)
	}
	if d.Homie != "5.0" || d.Version == nil || len(d.Nodes) == 0 {
		t.Errorf("homie %q, version %v, %d nodes", d.Homie, d.Version, len(d.Nodes))
	}
	id := regexp.MustCompile(`^[a-z0-9]([a-z0-9-]*[a-z0-9])?$`)
	ranged := regexp.MustCompile(`^(-?[0-9]+(\.[0-9]+)?)?:(-?[0-9]+(\.[0-9]+)?)?(:[0-9]+(\.[0-9]+)?)?$`)
	for n, node := range d.Nodes {
		if !id.MatchString(n) || len(node.Properties) == 0 {
			t.Errorf("node %q with %d properties", n, len(node.Properties))
		}
		for p, about := range node.Properties {
			ok := id.MatchString(p) && (about.Unit == nil || *about.Unit != "")
			switch about.Datatype {
			case "integer", "float":
				ok = ok && (about.Format == nil || ranged.MatchString(*about.Format))
			case "enum":
				ok = ok && about.Format != nil
				if ok {
					values := strings.Split(*about.Format, ",")
					slices.Sort(values)
					ok = values[0] != "" && len(slices.Compact(slices.Clone(values))) == len(values)
				}
			case "string", "datetime":
				ok = ok && about.Format == nil
			default:
				ok = false
			}
			if !ok {
				t.Errorf("%s/%s does not follow the convention: %+v", n, p, about)
			}
		}
	}
	return d
}

func TestDescriptionFollowsHomie(t *testing.T) {
	for _, settable := range []bool{false, true} {
		here := root
		here.Settable = settable
		tree := here.Tree(summerDay())
		d := parsed(t, tree.Description.JSON())
		for _, m := range tree.Values {
			rest := strings.TrimPrefix(m.Topic, "homie/5/barn/")
			if strings.HasPrefix(rest, "$alert/") {
				continue
			}
			n, p, _ := strings.Cut(rest, "/")
			about, ok := d.Nodes[n].Properties[p]
			if !ok || about.Settable != nil || about.Retained != nil {
				t.Errorf("%s is published and described as %v, %+v", m.Topic, ok, about)
			}
		}
		for n := range map[string]bool{"site": true, "a1": true, "b2": true} {
			for p, takes := range map[string]string{
				"acknowledge": "nest-heat", "shelve": "", "unshelve": "all", "out-of-service": "all", "in-service": "cluster-chill", "chore-done": "bedding-due",
			} {
				about, ok := d.Nodes[n].Properties[p]
				if ok != settable || settable && (!*about.Settable || *about.Retained) {
					t.Errorf("with commands %v, %s/%s is described: %v, %+v", settable, n, p, ok, about)
				}
				if settable && takes != "" && !strings.Contains(","+*about.Format+",", ","+takes+",") {
					t.Errorf("%s/%s does not take %s: %+v", n, p, takes, about)
				}
			}
			if format := d.Nodes[n].Properties["chore-done"].Format; settable && strings.Contains(*format+",", "all,") {
				t.Errorf("all chores of %s can be marked done at once: %s", n, *format)
			}
		}
		if strings.Contains(tree.Description.JSON(), "settable") != settable {
			t.Errorf("settable where commands are %v", settable)
		}
		if unit := *d.Nodes["a1"].Properties["air-temperature"].Unit; unit != "\u00b0C" {
			t.Errorf("unit of temperature is %q, want U+00B0 and C", unit)
		}
		if _, ok := d.Nodes["a1"].Properties["cluster-temperature-2"]; !ok {
			t.Error("a fitted probe without a fresh value is not described")
		}
		if _, ok := d.Nodes["b2"].Properties["carbon-dioxide"]; ok {
			t.Error("a probe that is not fitted is described")
		}
	}
}

func TestHashChangesWithTheShapeOnly(t *testing.T) {
	before := root.Tree(summerDay()).Description
	rows := []struct {
		name   string
		change func(*thresholds.Snapshot)
		same   bool
	}{
		{"another value", func(s *thresholds.Snapshot) { s.Nests[0].Values[0].Value = 20 }, true},
		{"a value gone stale", func(s *thresholds.Snapshot) { s.Nests[0].Values[0].Fresh = false }, true},
		{"an alarm gone", func(s *thresholds.Snapshot) { s.Alarms = nil }, true},
		{"a nest gone", func(s *thresholds.Snapshot) { s.Nests = s.Nests[:1] }, false},
		{"a probe gone", func(s *thresholds.Snapshot) { s.Nests[0].Values = s.Nests[0].Values[1:] }, false},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			s := summerDay()
			row.change(&s.Snapshot)
			after := root.Tree(s).Description
			after.Version = 99
			if same := after.Hash() == before.Hash(); same != row.same {
				t.Errorf("hash the same: %v, want %v", same, row.same)
			}
		})
	}
}

// FuzzPayloads holds every payload to Homie's grammar, whatever the numbers and names, and SenML to JSON's.
func FuzzPayloads(f *testing.F) {
	f.Add(123456789.0, "A1 ü", "too hot")
	f.Add(math.NaN(), "", "")
	f.Add(math.Inf(-1), "--", "\xff\x00")
	f.Add(1e-300, "nest/+/#", "x")
	f.Add(math.MaxFloat64, "5", "1,5")
	f.Add(math.Copysign(0, -1), "site", "none")
	float := regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?$`)
	whole := regexp.MustCompile(`^-?[0-9]+$`)
	topics := map[bool]*regexp.Regexp{
		false: regexp.MustCompile(`^homie/5/barn/(\$alert/)?[a-z0-9]([a-z0-9-]*[a-z0-9])?(/[a-z0-9]([a-z0-9-]*[a-z0-9])?)?$`),
		true:  regexp.MustCompile(`^homie/barn/[a-z0-9]([a-z0-9-]*[a-z0-9])?/[a-z0-9]([a-z0-9-]*[a-z0-9])?$`),
	}
	f.Fuzz(func(t *testing.T, v float64, nest, words string) {
		s := &exporter.State{Synced: true, Snapshot: thresholds.Snapshot{
			Time: noon,
			Nests: []thresholds.NestState{{
				ID: nest, Stage: thresholds.Empty, Values: []thresholds.Value{value(thresholds.Air, sensors.Temperature, v, true), value(thresholds.CO2, sensors.CO2, v, true)},
				Judged: []thresholds.Judgement{{Danger: "heat", Why: words}},
			}},
			Alarms: []alarm.Standing{{Event: alarm.Event{Nest: nest, Name: alarm.NestHeat, Severity: alarm.Warning, Text: words}, Acknowledged: noon}},
		}}
		for homie4, topic := range topics {
			here := root
			here.Homie4 = homie4
			for _, m := range here.Tree(s).Values {
				if !topic.MatchString(m.Topic) {
					t.Errorf("topic %q", m.Topic)
				}
				if m.Payload == "" || strings.ContainsRune(m.Payload, 0) || strings.ToValidUTF8(m.Payload, "") != m.Payload {
					t.Errorf("%s = %q", m.Topic, m.Payload)
				}
				if strings.HasSuffix(m.Topic, "/air-temperature") && !float.MatchString(m.Payload) || strings.HasSuffix(m.Topic, "/carbon-dioxide") && !whole.MatchString(m.Payload) {
					t.Errorf("%s = %q is no number of Homie", m.Topic, m.Payload)
				}
			}
		}
		pack := root.SenML(s)
		if finite := !math.IsNaN(v) && !math.IsInf(v, 0); finite != (pack != "") || finite && !json.Valid([]byte(pack)) {
			t.Errorf("%g is packed as %q", v, pack)
		}
	})
}
