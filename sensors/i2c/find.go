package i2c

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"nestmon/sensors"
)

// Buses is every I2C bus of a board.
type Buses struct {
	Root   string
	Probes []ProbeConfig // of the configuration: what nothing else tells of a chip is taken from there
}

var _ sensors.Finder = Buses{}

// searchLimit is for one bus. Some controllers take 0.3 s for an address where nobody is (measured on an emulated i.MX6). Ours, no source.
const searchLimit = 30 * time.Second

// lastLook is how much longer a search goes on whose time is over: until it is done with the address it is at, where each chip that may be
// there is asked in vain. Some twelve of the transactions above; ours, no source.
const lastLook = 5 * time.Second

// Find asks at the addresses that a driver knows, and as Driver.Like asks. Nothing else is written, but to multiplexers.
func (b Buses) Find(ctx context.Context, held func(bus string) bool) []sensors.FoundBus {
	var names []string
	for _, c := range b.Probes {
		names = append(names, c.Bus)
	}
	s := &search{Buses: b, all: adapters(b.Root, names), taken: map[string][]uint16{}}
	if len(s.all) == 0 {
		return []sensors.FoundBus{{Bus: Kind, Problem: "there is no /dev/i2c-N; " + enable}}
	}
	var buses []sensors.FoundBus
	for _, a := range s.all {
		out := sensors.FoundBus{Bus: a.name, Notes: a.notes()}
		switch by := s.holder(a, held); by {
		case "":
			out = s.within(ctx, a, out)
		case a.name: // the caller knows
		default:
			out.Notes = append(out.Notes, "not searched: the daemon reads "+by+", which is one wire with this")
		}
		buses = append(buses, out)
	}
	return buses
}

// Identity is the Found.Identity of a chip that a configuration names.
func Identity(c ProbeConfig) string {
	if c.Mux == 0 || c.Channel == nil {
		return c.Bus + "/" + hex(c.Address)
	}
	return fmt.Sprintf("%s/%s.%d/%s", c.Bus, hex(c.Mux), *c.Channel, hex(c.Address))
}

// search is one look at all buses.
type search struct {
	Buses
	all   []adapter
	taken map[string][]uint16 // addresses that answered, or that the kernel has, by bus: the channels of a bus hear them too
}

// holder names the bus for which the adapter is left alone, "" where it may be searched: a channel hears what is said on the bus
// it hangs on, and a bus may hear the channel that was open last.
func (s *search) holder(a adapter, held func(bus string) bool) string {
	wires := append([]string{a.name}, a.above...)
	for _, other := range s.all {
		if slices.Contains(other.above, a.name) {
			wires = append(wires, other.name)
		}
	}
	for _, w := range wires {
		if held(w) {
			return w
		}
	}
	return ""
}

// within searches a bus, and leaves it behind when it hangs: a transaction cannot be broken off.
func (s *search) within(ctx context.Context, a adapter, out sensors.FoundBus) sensors.FoundBus {
	ctx, stop := context.WithTimeout(ctx, searchLimit)
	defer stop()
	type result struct {
		bus   sensors.FoundBus
		taken []uint16
	}
	done := make(chan result, 1)
	var taken []uint16
	for address := range a.driven {
		taken = append(taken, address)
	}
	for _, above := range a.above {
		taken = append(taken, s.taken[above]...)
	}
	found := out // one that hangs is left what it writes in
	found.Notes = slices.Clone(out.Notes)
	go func() {
		taken := s.bus(ctx, a, taken, &found)
		done <- result{found, taken}
	}()
	select {
	case r := <-done:
		s.taken[a.name] = r.taken
		return r.bus
	case <-ctx.Done():
	}
	select {
	case r := <-done:
		s.taken[a.name] = r.taken
		return r.bus
	case <-time.After(lastLook):
		out.Problem = "it hangs: look for a short or water on the line, and restart the board when nothing is found"
		return out
	}
}

// bus searches one bus, and the channels of the multiplexers on it that are nobody's. It returns the addresses that are taken.
func (s *search) bus(ctx context.Context, a adapter, taken []uint16, out *sensors.FoundBus) []uint16 {
	l := newLine(s.Root, a.name, time.Now, time.Sleep)
	defer l.close() //nolint:errcheck // it was only asked
	for address := uint16(firstMux); address <= lastMux; address++ {
		if !slices.Contains(taken, address) && (!a.linger || s.names(a.name, address)) && switches(l, address) {
			taken = append(taken, address)
			out.Notes = append(out.Notes, fmt.Sprintf("%s is a multiplexer that nestmon can switch; its channels were searched", hex(address)))
		}
	}
	if a.linger {
		out.Notes = append(out.Notes, "that multiplexer leaves its last channel open: what hangs on this bus itself shows on each of its channels"+
			"; to tell them apart: echo -2 | sudo tee /"+devices+"/"+device(a.name, a.muxes[0])+"/idle_state")
	}
	taken = append(taken, s.segment(ctx, l, ProbeConfig{Bus: a.name}, a.linger, taken, out)...)
	for _, m := range slices.Clone(l.muxes) {
		for channel := range channels {
			if l.opens(m, channel) {
				s.segment(ctx, port{m, channel}, ProbeConfig{Bus: a.name, Mux: m.addr, Channel: &channel}, a.linger, taken, out)
			}
		}
	}
	out.Problem = l.problem(len(out.Probes) > 0)
	if ctx.Err() != nil {
		out.Notes = append(out.Notes, fmt.Sprintf("not all of it could be searched within %v", searchLimit))
	}
	return taken
}

// names reports whether the configuration has a chip behind the multiplexer.
func (s *search) names(bus string, mux uint16) bool {
	return slices.ContainsFunc(s.Probes, func(c ProbeConfig) bool { return c.Bus == bus && c.Mux == mux })
}

// problem says why nothing could be searched.
func (l *line) problem(found bool) string {
	n := l.counts.transactions.Load()
	switch failed := &l.counts.errors; {
	case found:
		return ""
	case failed[gone].Load() > 0 || failed[unsupported].Load() > 0:
		return l.ended().Error()
	case n > 0 && failed[timeout].Load() == n:
		return "every address is answered by a time-out: a line is held low, or nothing is there; look for water, a short, a missing pull-up"
	}
	return ""
}

// switches reports whether a multiplexer answers, and closes its channels: it gives the byte it holds again and again, and holds what is
// written. Whatever else does not hold the first byte gets no other.
func switches(l *line, address uint16) bool {
	idle := resting(l, address)
	if idle == nil || strings.Count(string(idle), string(idle[:1])) != len(idle) {
		return false
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	m := &mux{line: l, addr: address}
	if m.set(1) != nil || m.set(0) != nil {
		return false
	}
	l.muxes = append(l.muxes, m)
	return true
}

// opens reports whether the multiplexer has the channel: one with four does not hold the bits of eight.
func (l *line) opens(m *mux, channel int) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return m.set(1<<channel) == nil && m.set(0) == nil
}
