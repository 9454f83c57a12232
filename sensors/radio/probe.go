package radio

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"nestmon/sensors"
)

// message is what came on a topic.
type message struct {
	topic   string
	payload []byte
	came    time.Time
	old     string // why it says nothing of now unless it holds its own time, empty where it does
	tells   bool   // it brings a value
}

// Why a message that can be read is passed over.
const (
	leftover   = "kept by the broker"
	standstill = "come after nestmon stood still"
	lacking    = "without what the pointer asks for"
	repeated   = "said before"
	overtaken  = "older than the last"
	tooOld     = "measured too long ago"
)

// aheadOf is how far a node's clock may be ahead of the board's: both set from a network, minutes apart at most when one drifts
// for days. Ours, no source.
const aheadOf = time.Minute

// probe is one probe with what is known of it. It belongs to Read.
type probe struct {
	sensors.Probe
	topic      string
	plain      bool
	fahrenheit bool
	time       *pointer
	channels   []*channel
}

// channel is one quantity of a probe.
type channel struct {
	quantity sensors.Quantity
	pointer  pointer
	newest   time.Time      // when the newest value was measured, zero before the first
	since    time.Time      // from when on one is expected
	passed   map[string]int // messages since the newest value that were no reading, by reason
	told     []telling      // since the last Read, at most a value and a fault, in the order in which they came
}

// telling is a reading with the cause of its fault.
type telling struct {
	reading sensors.Reading
	cause   error
}

func newProbe(c ProbeConfig, poll time.Duration) *probe {
	p := &probe{Probe: c.probe(poll), topic: c.Topic, plain: len(c.Pointers) == 0, fahrenheit: c.Unit == "F"}
	if c.Time != "" {
		at, _ := parsePointer(c.Time) // validated by New
		p.time = &at
	}
	for _, q := range p.Quantities {
		to, _ := parsePointer(c.Pointers[q.String()])
		p.channels = append(p.channels, &channel{quantity: q, pointer: to, passed: map[string]int{}})
	}
	return p
}

// lateAfter is when a probe that is silent becomes a fault: half an interval late. Ours, no source.
func (p *probe) lateAfter() time.Duration { return min(p.Interval*3/2, p.StaleAfter) }

// take decides what a message says of the probe.
func (p *probe) take(m message, now time.Time) {
	doc, f := decode(m.payload, p.plain)
	at := m.came
	if f == nil && p.time != nil {
		at, f = p.measured(doc, now)
	}
	for _, c := range p.channels {
		c.take(p, m, doc, f, at, now)
	}
}

// finds reports whether a message brings a value of the probe, whenever that was measured.
func (p *probe) finds(m message) bool {
	doc, f := decode(m.payload, p.plain)
	return f == nil && slices.ContainsFunc(p.channels, func(c *channel) bool {
		found, ok := c.pointer.find(doc)
		if !ok {
			return false
		}
		_, f := scalar(found)
		return f == nil
	})
}

// measured reads the message's own time.
func (p *probe) measured(doc any, now time.Time) (time.Time, *fault) {
	found, ok := p.time.find(doc)
	if !ok {
		return time.Time{}, faultf(sensors.Malformed, "the message holds no time at %s", p.time.text)
	}
	at, f := instant(found)
	switch {
	case f != nil:
		return time.Time{}, f
	case at.Sub(now) > aheadOf:
		return time.Time{}, faultf(sensors.Malformed, "the message says %s, which is yet to come; set the clocks of the node and of this board", at.UTC().Format(time.RFC3339))
	}
	return at, nil
}

func (c *channel) take(p *probe, m message, doc any, f *fault, at, now time.Time) {
	why := ""
	switch {
	case m.old != "" && (p.time == nil || f != nil):
		why = m.old
	case f != nil:
	case p.time == nil:
	case at.Equal(c.newest):
		why = repeated
	case at.Before(c.newest):
		why = overtaken
	case now.Sub(at) > p.StaleAfter:
		why = tooOld
	}
	var v float64
	if why == "" && f == nil {
		found, ok := c.pointer.find(doc)
		if v, f = scalar(found); !ok {
			why = lacking
		}
	}
	if why != "" {
		c.passed[why]++
		return
	}
	t := telling{reading: sensors.Reading{Probe: p.ID, Quantity: c.quantity, Time: at}}
	if f != nil {
		t.reading.Time, t.reading.Fault, t.cause = m.came, f.reason, fmt.Errorf("radio %s: %w", c.place(p), f)
	} else {
		if c.quantity == sensors.Temperature && p.fahrenheit {
			v = (v - 32) / 1.8
		}
		t.reading.Value = v
		c.newest, c.since = at, at
		clear(c.passed)
	}
	c.told = append(slices.DeleteFunc(c.told, func(was telling) bool { return was.reading.OK() == t.reading.OK() }), t)
}

// place is where the channel's values come from, in words.
func (c *channel) place(p *probe) string { return strings.TrimSpace(p.topic + " " + c.pointer.text) }

// overdue reports whether the channel should have had a value by now.
func (c *channel) overdue(p *probe, now time.Time) bool { return now.Sub(c.since) > p.lateAfter() }

// silence is the story of a channel without a value.
func (c *channel) silence(p *probe, now time.Time) string {
	story := fmt.Sprintf("no value for %s, and one is expected every %s", now.Sub(c.since).Round(time.Second), p.Interval)
	if c.newest.IsZero() {
		story = fmt.Sprintf("no value yet, and one is expected every %s", p.Interval)
	}
	var passed []string
	for _, why := range slices.Sorted(maps.Keys(c.passed)) {
		passed = append(passed, fmt.Sprintf("%d %s", c.passed[why], why))
	}
	if len(passed) > 0 {
		return story + "; messages that are no reading: " + strings.Join(passed, ", ")
	}
	return story
}
