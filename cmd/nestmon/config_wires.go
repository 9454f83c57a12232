package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"nestmon/sensors/i2c"
	"nestmon/sensors/onewire"
	"nestmon/sensors/w1"
)

// load is what the 1-Wire probes of one wire take of every poll.
type load struct {
	wire   string
	known  bool // false for probes of which nobody can say on which wire they hang: read on a board, or missing there
	kind   string
	probes int
}

// takes is how long they hold the wire: the kernel converts one after another, and onewire all at once.
func (l load) takes() time.Duration {
	if l.kind == w1.Kind {
		return time.Duration(l.probes) * w1.Conversion
	}
	return onewire.Conversion + time.Duration(l.probes)*onewire.Scratchpad
}

// loads adds up by wire. root is where the kernel shows which probe hangs on which of its masters, or empty.
func (c *config) loads(root string) []load {
	var all []load
	for _, p := range c.Probes {
		if p.Source != w1.Kind && p.Source != onewire.Kind {
			continue
		}
		name := w1.Kind
		if kind, ok := sourceKindOf(p.Source); ok && (root != "" || p.Source == onewire.Kind) {
			name = kind.wire(root, p)
		}
		i := slices.IndexFunc(all, func(l load) bool { return l.wire == name })
		if i < 0 {
			i, all = len(all), append(all, load{wire: name, known: name != w1.Kind, kind: p.Source})
		}
		all[i].probes++
	}
	return all
}

// late says what to do about a wire that cannot be read within a poll, or nothing.
func (c *config) late(l load) string {
	takes := l.takes()
	if takes <= readingTime(c.Poll) {
		return ""
	}
	long := c.Poll
	for readingTime(long) < takes {
		long += shortPoll
	}
	what, where, remedy := "the 1-Wire probes", "on one wire they", "or use several wires"
	if l.known {
		what, where = fmt.Sprintf("the %d probes on %s", l.probes, l.wire), "they"
	}
	how := "together"
	if l.kind == w1.Kind {
		how, remedy = "one after another", remedy+", or source: onewire, which converts all of a wire at once"
	}
	return fmt.Sprintf("%s leaves %s for reading, and %s take %s %s: %s would be late at every poll; write %s, %s",
		span(c.Poll), span(readingTime(c.Poll)), what, span(takes.Round(100*time.Millisecond)), how, where, span(long), remedy)
}

// validateWire refuses a poll that is too short for a wire. Without the board nobody knows the wires of the kernel's probes: they may be
// several, and check looks there.
func (c *config) validateWire(d *decoder) {
	c.validateBridges(d)
	c.pollAt = d.where("poll")
	if c.Poll < shortPoll { // refused already
		return
	}
	for _, l := range c.loads("") {
		switch what := c.late(l); {
		case what == "":
		case l.known:
			d.wrong("poll", "%s", what)
		default:
			d.lost("poll", "%s", what)
		}
	}
}

// validateBridges refuses a bridge and a chip at one address of an I2C bus: both would answer.
func (c *config) validateBridges(d *decoder) {
	chips := map[string]string{}
	for _, p := range c.Probes {
		if p.Source == i2c.Kind && p.Mux == 0 {
			chips[fmt.Sprintf("%s/0x%02x", p.Bus, p.Address)] = p.ID
		}
	}
	for i, p := range c.Probes {
		parts := strings.SplitN(p.Bus, "/", 3)
		if p.Source != onewire.Kind || len(parts) < 2 {
			continue
		}
		if chip, taken := chips[parts[0]+"/"+parts[1]]; taken {
			d.wrong(fmt.Sprintf("probes[%d].bus", i), "the address %s of %s is that of probe %q too, and both would answer; strap one of them to another address", parts[1], parts[0], chip)
		}
	}
}

// wireFindings is validateWire where the wires are known: what the file alone let pass, or warned of, is decided by the board.
func (c *config) wireFindings(root string, findings []finding) []finding {
	if unsure := slices.ContainsFunc(c.loads(root), func(l load) bool { return !l.known }); !unsure {
		for _, l := range c.loads("") {
			guess := "poll: " + c.late(l)
			findings = slices.DeleteFunc(slices.Clone(findings), func(f finding) bool { return !l.known && f.text == guess })
		}
	}
	for _, what := range c.lateWires(root) {
		findings = append(findings, finding{line: c.pollAt.line, col: c.pollAt.col, severity: isError, text: "poll: " + what})
	}
	return findings
}

// lateWires says it of every wire that only the board knows.
func (c *config) lateWires(root string) (all []string) {
	for _, l := range c.loads(root) {
		if what := c.late(l); what != "" && l.known && l.kind == w1.Kind {
			all = append(all, what)
		}
	}
	return all
}

// wirePlan says what reading costs each wire.
func (c *config) wirePlan(root string) (lines []planLine) {
	for _, l := range c.loads(root) {
		how := "one after another"
		if l.kind == onewire.Kind {
			how = "converted together"
		}
		name := l.wire
		if !l.known {
			name = "wire unknown, not there now"
		}
		lines = append(lines, planLine{"wire", fmt.Sprintf("%s: %s, %s: %.1f s of each %s", name, howMany(l.probes, "probe"), how, l.takes().Seconds(), span(c.Poll))})
	}
	return lines
}

func howMany(n int, of string) string {
	if n != 1 {
		of += "s"
	}
	return fmt.Sprintf("%d %s", n, of)
}
