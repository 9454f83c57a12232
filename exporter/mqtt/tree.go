package mqtt

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"nestmon/exporter"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// Message is one retained topic and what it holds. An empty payload deletes it.
type Message struct{ Topic, Payload string }

// Root is the device that stands for the daemon in one tree.
type Root struct {
	Base     string // first level, such as homie
	Device   string
	Name     string // for people
	Homie4   bool   // a tree by Homie 4.0.0, not 5.0.0
	Settable bool   // alarms can be answered and chores marked done by way of the tree
	Instance string // this installation, told from another of the same device; empty where nobody asks
}

// Tree is what the broker should hold for one state.
type Tree struct {
	Description Description
	Values      []Message // every topic that has a value, in a fixed order: properties by node, then alerts
	State       string    // what $state says once all of it is there
}

// Topic joins levels to a topic of this device.
func (r Root) Topic(levels ...string) string {
	head := []string{r.Base, homie5Level, r.Device}
	if r.Homie4 {
		head = []string{r.Base, r.Device}
	}
	return strings.Join(append(head, levels...), "/")
}

// Tree lays out a state.
func (r Root) Tree(s *exporter.State) Tree {
	b := builder{root: r, description: Description{Homie: "5.0", Name: r.Name, Nodes: map[string]Node{}}}
	b.site(s.Snapshot)
	for _, n := range s.Snapshot.Nests {
		b.nest(n, s.Snapshot)
	}
	if len(s.Snapshot.Outside.Values) > 0 {
		b.node(outsideNode, "Outside")
		b.readings(s.Snapshot.Outside.Values)
		b.doubts(s.Snapshot.Outside.Values, s.Snapshot.Doubts)
	}
	if len(s.Snapshot.Battery.Values) > 0 {
		b.node(batteryNode, "Battery")
		b.readings(s.Snapshot.Battery.Values)
	}
	t := Tree{Description: b.description, State: stateReady}
	if !r.Homie4 {
		b.alerts(s.Snapshot.Alarms)
	} else if b.blind {
		t.State = stateAlert
	}
	t.Values = b.values
	return t
}

// slot is what a value is about.
type slot struct {
	role     thresholds.Role
	quantity sensors.Quantity
}

// readingProperty shows the values of some slots.
type readingProperty struct {
	slots []slot
	id    string
	about Property
}

func (p readingProperty) of(v thresholds.Value) bool {
	return slices.Contains(p.slots, slot{v.Role, v.Quantity})
}

// readingProperties names the property of each slot that is shown, in the order of the tree. The ranges are those of the
// probes: -55 to 125 °C is the DS18B20's (datasheet, "Features").
var readingProperties = []readingProperty{
	{[]slot{{thresholds.Cluster, sensors.Temperature}}, "cluster-temperature", celsius("Cluster temperature")},
	{[]slot{{thresholds.Cluster2, sensors.Temperature}}, "cluster-temperature-2", celsius("Second cluster temperature")},
	{[]slot{{thresholds.Air, sensors.Temperature}, {thresholds.Outside, sensors.Temperature}}, "air-temperature", celsius("Air temperature")},
	{[]slot{{thresholds.Air, sensors.Humidity}, {thresholds.Outside, sensors.Humidity}}, "air-humidity", humidity("Air humidity")},
	{[]slot{{thresholds.CO2, sensors.CO2}}, "carbon-dioxide", Property{Name: "Carbon dioxide", Datatype: "integer", Unit: "ppm", Format: "0:"}},
	{[]slot{{thresholds.Cage, sensors.Temperature}}, "cage-temperature", celsius("Air temperature in the cage")},
	{[]slot{{thresholds.Cage, sensors.Humidity}}, "cage-humidity", humidity("Air humidity in the cage")},
	{[]slot{{thresholds.Battery, sensors.Voltage}}, "voltage", Property{Name: "Voltage", Datatype: "float", Unit: "V"}},
	{[]slot{{thresholds.Battery, sensors.Current}}, "current", Property{Name: "Current", Datatype: "float", Unit: "A"}},
}

func celsius(name string) Property {
	return Property{Name: name, Datatype: "float", Unit: "°C", Format: "-55:125"}
}

func humidity(name string) Property {
	return Property{Name: name, Datatype: "float", Unit: "%", Format: "0:100"}
}

// builder gathers a tree; properties go to the node begun last.
type builder struct {
	root        Root
	description Description
	values      []Message
	current     string
	blind       bool // a probe that is fitted has no value
}

func (b *builder) node(id, name string) {
	b.current = id
	b.description.Nodes[id] = Node{Name: name, Properties: map[string]Property{}}
}

// property declares a property and, where it has a value, publishes it.
func (b *builder) property(id string, about Property, payload string) {
	b.description.Nodes[b.current].Properties[id] = about
	if payload != "" {
		b.values = append(b.values, Message{b.root.Topic(b.current, id), payload})
	}
}

// site is the node of what belongs to no nest.
func (b *builder) site(s thresholds.Snapshot) {
	b.node(siteNode, "Site")
	b.property(instanceProperty, Property{Name: "Installation that publishes this", Datatype: "string"}, b.root.Instance)
	b.deeds("", s)
}

func (b *builder) nest(n thresholds.NestState, s thresholds.Snapshot) {
	b.node(topicID(n.ID), "Nest "+n.ID)
	b.readings(n.Values)
	b.property("alarm", Property{Name: "Highest alarm", Datatype: "enum", Format: "none,notice,warning,urgent"}, n.Severity.String())
	b.property("not-judged", Property{Name: "Dangers not watched", Datatype: "string"}, notJudged(n.Judged))
	b.doubts(n.Values, s.Doubts)
	b.property("litter-stage", Property{Name: "Litter stage", Datatype: "enum", Format: stages()}, string(n.Stage))
	b.deeds(n.ID, s)
}

// deeds is what a person has done or is to do, and where the tree can be told of it, how.
func (b *builder) deeds(nest string, s thresholds.Snapshot) {
	var seen, due []string
	for _, st := range s.Alarms {
		switch {
		case st.Nest != nest:
		case st.Name.Chore():
			due = append(due, string(st.Name))
		case !st.Acknowledged.IsZero():
			seen = append(seen, string(st.Name))
		}
	}
	b.property("alarm-status", Property{Name: "Where each alarm stands", Datatype: "string"}, statuses(nest, s))
	b.property("acknowledged-alarms", Property{Name: "Alarms that somebody has seen", Datatype: "string"}, list(seen))
	b.property("chores-due", Property{Name: "Chores that are due", Datatype: "string"}, list(due))
	if b.root.Settable {
		for _, s := range settables {
			b.property(s.id, s.describe(), "")
		}
	}
}

// list names things once each; two probes of one nest may have the same alarm.
func list(names []string) string {
	slices.Sort(names)
	return text(cmp.Or(strings.Join(slices.Compact(names), "; "), "none"))
}

// instanceProperty is the one by which two daemons of the same device notice each other.
const instanceProperty = "instance"

// readings publishes the values of one place; what is fitted but too old is declared and has no value.
func (b *builder) readings(values []thresholds.Value) {
	var newest time.Time
	for _, p := range readingProperties {
		for _, v := range values {
			if !p.of(v) {
				continue
			}
			if v.Time.After(newest) {
				newest = v.Time
			}
			payload := number(v)
			b.property(p.id, p.about, payload)
			b.blind = b.blind || payload == ""
		}
	}
	payload := ""
	if !newest.IsZero() {
		payload = newest.UTC().Format(time.RFC3339)
	}
	b.property("reading-time", Property{Name: "Newest reading", Datatype: "datetime"}, payload)
}

// doubts says what speaks against the probes of one place.
func (b *builder) doubts(values []thresholds.Value, all []thresholds.Doubt) {
	var out []string
	for _, d := range all {
		if slices.ContainsFunc(values, func(v thresholds.Value) bool { return v.Probe == d.Probe }) {
			out = append(out, d.Probe+": "+string(d.Why))
		}
	}
	b.property("doubted-probes", Property{Name: "Probes that may be wrong", Datatype: "string"}, text(cmp.Or(strings.Join(out, "; "), "none")))
}

// number writes a value in Homie's grammar, which knows no NaN, no infinity and no plus sign; fmt would write 1e+08.
func number(v thresholds.Value) string {
	if !v.Fresh || math.IsNaN(v.Value) || math.IsInf(v.Value, 0) {
		return ""
	}
	decimals := -1
	if v.Quantity == sensors.CO2 {
		decimals = 0
	}
	return strconv.FormatFloat(v.Value, 'f', decimals, 64)
}

// notJudged says which dangers nobody watches; "alarm none" beside it is then no all-clear.
func notJudged(judged []thresholds.Judgement) string {
	var out []string
	for _, j := range judged {
		if !j.Judged {
			out = append(out, j.Danger+": "+cmp.Or(strings.TrimPrefix(j.Why, "not judged: "), "no reason given"))
		}
	}
	return text(cmp.Or(strings.Join(out, "; "), "none"))
}

func stages() string {
	var out []string
	for _, s := range thresholds.Stages {
		out = append(out, string(s))
	}
	return strings.Join(out, ",")
}

// alerts publishes every alarm that stands, chores among them from warning up. One for which nobody is called stands as long as its
// condition lasts; one that is over does not, whether or not somebody has seen it.
func (b *builder) alerts(standing []alarm.Standing) {
	taken := map[string]int{} // topic to its place in values
	for _, st := range standing {
		if !thresholds.Alarming(st.Event) || st.Severity == alarm.None {
			continue
		}
		topic := b.root.Topic("$alert", topicID(cmp.Or(st.Nest, "site")+"-"+string(st.Name)))
		payload := text(st.Severity.String() + ": " + cmp.Or(st.Text, string(st.Name)) + "\nStatus: " + status(st) + because(st.Event))
		if i, ok := taken[topic]; ok { // two probes of one nest, say
			b.values[i].Payload += "\n" + payload
			continue
		}
		taken[topic] = len(b.values)
		b.values = append(b.values, Message{topic, payload})
	}
}

// alarmsFirst orders messages so that an alarm does not wait behind a hundred values.
func (r Root) alarmsFirst(a, b Message) int {
	rank := func(m Message) int {
		if strings.HasPrefix(m.Topic, r.Topic("$alert", "")) || strings.HasSuffix(m.Topic, "/alarm") {
			return 0
		}
		return 1
	}
	return rank(a) - rank(b)
}

// because is what an alarm rests on, each part on a line of its own.
func because(e alarm.Event) (lines string) {
	if e.Rule != "" {
		lines += "\nRule: " + e.Rule
	}
	if e.Source != "" {
		lines += "\nSource: " + e.Source
	}
	return lines
}

// topicID makes an id of any name. Names the configuration accepts come out unchanged.
func topicID(name string) string {
	id := strings.Map(func(r rune) rune {
		if (r >= 'a' && r <= 'z') || (r >= '0' && r <= '9') {
			return r
		}
		return '-'
	}, strings.ToLower(name))
	return cmp.Or(strings.Trim(id, "-"), "unnamed")
}

// text keeps to what a broker accepts: valid UTF-8 without NUL.
func text(s string) string {
	return strings.ReplaceAll(strings.ToValidUTF8(s, "?"), "\x00", "")
}
