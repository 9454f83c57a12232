package mqtt

import (
	"maps"
	"slices"
	"strings"
)

// frame is what stands round the values and may change only while $state is init: one JSON text in Homie 5, a topic for each attribute
// in Homie 4.0.0 ("Device Attributes", "Node Attributes", "Property Attributes").
func (r Root) frame(d Description) []Message {
	if !r.Homie4 {
		return []Message{{r.Topic("$description"), d.JSON()}}
	}
	nodes := slices.Sorted(maps.Keys(d.Nodes))
	out := []Message{
		{r.Topic("$homie"), "4.0.0"},
		{r.Topic("$name"), attribute(d.Name, r.Device)},
		{r.Topic("$nodes"), strings.Join(nodes, ",")},
		{r.Topic("$extensions"), ""}, // none; the convention wants it sent, and no broker can keep it
		{r.Topic("$implementation"), "nestmon"},
	}
	for _, n := range nodes {
		node := d.Nodes[n]
		properties := slices.Sorted(maps.Keys(node.Properties))
		out = append(out, Message{r.Topic(n, "$name"), attribute(node.Name, n)}, Message{r.Topic(n, "$type"), nodeType(n)},
			Message{r.Topic(n, "$properties"), strings.Join(properties, ",")})
		for _, p := range properties {
			out = append(out, r.attributes(node.Properties[p], n, p)...)
		}
	}
	return out
}

// attributes are those of one property. An attribute left out has Homie's default.
func (r Root) attributes(about Property, levels ...string) (out []Message) {
	for _, a := range []struct{ name, payload string }{
		{"$name", attribute(about.Name, levels[1])},
		{"$datatype", datatype4(about.Datatype)},
		{"$format", format4(about)},
		{"$unit", about.Unit},
		{"$settable", yes(about.Settable)},
		{"$retained", no(about.Retained != nil && !*about.Retained)},
	} {
		if a.payload != "" {
			out = append(out, Message{r.Topic(append(slices.Clone(levels), a.name)...), a.payload})
		}
	}
	return out
}

// attribute is a text that is never empty: an empty one would delete its topic.
func attribute(s, otherwise string) string {
	if s = text(s); s != "" {
		return s
	}
	return otherwise
}

func nodeType(id string) string {
	switch id {
	case siteNode, outsideNode, batteryNode:
		return id
	}
	return "nest"
}

// datatype4 knows what Homie 4.0.0 does not: datetime.
func datatype4(t string) string {
	if t == "datetime" {
		return "string"
	}
	return t
}

// format4 leaves out a range with an open end, which Homie 4.0.0 does not know.
func format4(p Property) string {
	if strings.HasSuffix(p.Format, ":") || strings.HasPrefix(p.Format, ":") {
		return ""
	}
	return p.Format
}

func yes(b bool) string {
	if b {
		return "true"
	}
	return ""
}

func no(b bool) string {
	if b {
		return "false"
	}
	return ""
}
