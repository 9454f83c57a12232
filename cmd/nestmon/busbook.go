package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/radio"
	"nestmon/thresholds/alarm"
)

// Delays of a bus that is down; ours, no source.
const (
	busPatience = 2 * time.Minute  // one that misses a poll is no event, nor is one that it answers between others,
	busBack     = 10 * time.Minute // and one that was told of must answer for longer
)

// busBook follows the buses that are down. Their silence is told once for the bus and not again for each nest on it: so every bus that goes
// down has to be told of.
type busBook struct {
	lines []busLine // in the order in which they went down
}

// busLine is one of them.
type busLine struct {
	sensors.BusHealth
	down time.Time // since when
	back time.Time // since when it answers again, zero while it does not
	told bool
	slow bool // it brings values, but late or now and then
}

// step takes the state of all buses after a poll.
func (b *busBook) step(buses []sensors.BusHealth, now time.Time) {
	news := false
	for _, bus := range buses {
		i := slices.IndexFunc(b.lines, func(l busLine) bool { return l.Bus == bus.Bus })
		switch {
		case i < 0 && bus.Up:
			continue
		case i < 0:
			i, b.lines = len(b.lines), append(b.lines, busLine{down: now})
		}
		l := &b.lines[i]
		l.BusHealth = bus
		switch {
		case !bus.Up:
			l.back = time.Time{}
			l.slow = bus.Heard.After(l.down) && now.Sub(bus.Heard) < busPatience
			news = news || !l.told && now.Sub(l.down) >= busPatience
			l.told = l.told || now.Sub(l.down) >= busPatience
		case l.back.IsZero():
			l.back = now
		}
	}
	b.lines = slices.DeleteFunc(b.lines, func(l busLine) bool {
		switch {
		case l.back.IsZero():
			return false
		case l.told: // and no other is told of in this poll: the alarm is told anew when it stands for more lines than before
			return now.Sub(l.back) >= busBack && !news
		}
		return now.Sub(l.back) >= busPatience
	})
}

// cut lists the probes whose silence the alarm stands for, or will when the bus is down for a little longer.
func (b *busBook) cut() (probes []string) {
	for _, l := range b.lines {
		if l.slow || !l.back.IsZero() {
			continue
		}
		for _, p := range l.Probes {
			probes = append(probes, p.ID)
		}
	}
	return probes
}

func (b *busBook) words() (c alarm.Condition, text string) {
	var dead, slow, back []string
	linked := false
	for _, l := range b.lines {
		if !l.told {
			continue
		}
		linked = linked || l.Linked
		worse(&c, alarm.Warning, l.down, fmt.Sprintf("a probe line, or the wireless probes together, bring nothing for %.0f min, until they do for %.0f", busPatience.Minutes(), busBack.Minutes()))
		switch {
		case !l.back.IsZero():
			back = append(back, l.Bus)
		case l.slow:
			slow = append(slow, l.Bus)
		default:
			dead = append(dead, l.Bus)
		}
	}
	if c.Count == 0 {
		return alarm.Condition{Hold: len(b.lines) > 0, Sure: true}, ""
	}
	return c, busRemedy(dead, slow, back, linked)
}

// busRemedy says what to do about buses. The wireless probes have no plug; linked is whether their broker is connected.
func busRemedy(dead, slow, back []string, linked bool) string {
	unheard := "Nothing is heard of the wireless probes: their broker cannot be reached. Look whether it runs and has power and network, and at what nestmon's log says of it."
	if linked {
		unheard = "Nothing is heard of the wireless probes, though their broker is connected. Look whether their gateway and the nodes have power, and at what nestmon's log says of them."
	}
	var said []string
	for _, s := range []struct {
		buses        []string
		wires, radio string
	}{
		{dead, "Probe line %s does not answer; none of its probes is read. Look at its plug and its cable, for water in the plug, and at what the system's log says of it.", unheard},
		{slow, "Probe line %s answers late, or only now and then. Look at its plug and its cable; where it holds many probes, write a longer poll or put them on several lines.", "The wireless probes are heard only now and then. Look at their batteries, and at what stands between them and the gateway."},
		{back, "Probe line %s answers again.", "The wireless probes are heard again."},
	} {
		wires := slices.DeleteFunc(slices.Clone(s.buses), func(bus string) bool { return bus == radio.Kind })
		if len(wires) > 0 {
			said = append(said, fmt.Sprintf(s.wires, strings.Join(wires, ", ")))
		}
		if len(wires) < len(s.buses) {
			said = append(said, s.radio)
		}
	}
	return strings.Join(said, " ")
}
