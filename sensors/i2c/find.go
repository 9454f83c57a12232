package i2c

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"time"

	"periph.io/x/conn/v3/i2c"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
)

// Buses is every I2C bus of a board.
type Buses struct {
	Root   string
	Probes []ProbeConfig // of the configuration: what nothing else tells of a chip is taken from there
}

var _ sensors.Finder = Buses{}

// searchLimit is for one bus. Some controllers take 0.3 s for an address where nobody is (measured on an emulated i.MX6). Ours, no source.
const searchLimit = 30 * time.Second

// idleBytes is what a mere read asks for: more than any answer that may wait in a chip, and enough to see that they are all the same.
const idleBytes = 8

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
		return r.bus
	case <-time.After(time.Second):
		out.Problem = "it hangs: look for a short or water on the line, and restart the board when nothing is found"
		return out
	}
}

// bus searches one bus, and the channels of the multiplexers on it that are nobody's. It returns the addresses that are taken.
func (s *search) bus(ctx context.Context, a adapter, taken []uint16, out *sensors.FoundBus) []uint16 {
	l := newLine(s.Root, a.name, time.Now, time.Sleep)
	defer l.close() //nolint:errcheck // it was only asked
	if !a.linger {
		for address := uint16(firstMux); address <= lastMux; address++ {
			if !slices.Contains(taken, address) && switches(l, address) {
				taken = append(taken, address)
				out.Notes = append(out.Notes, fmt.Sprintf("%s is a multiplexer that nestmon can switch; its channels were searched", hex(address)))
			}
		}
	} else {
		out.Notes = append(out.Notes, "that multiplexer leaves its last channel open: what hangs on this bus itself shows on each of its channels"+
			"; to tell them apart: echo -2 | sudo tee /"+devices+"/"+device(a.name, a.muxes[0])+"/idle_state")
	}
	known := addressesOfDrivers()
	if a.linger {
		known = slices.DeleteFunc(known, func(address uint16) bool {
			_, named := s.named(ProbeConfig{Bus: a.name, Address: address})
			return !named
		})
	}
	taken = append(taken, s.segment(ctx, l, ProbeConfig{Bus: a.name}, known, taken, out)...)
	for _, m := range slices.Clone(l.muxes) {
		for channel := range channels {
			if l.opens(m, channel) {
				s.segment(ctx, port{m, channel}, ProbeConfig{Bus: a.name, Mux: m.addr, Channel: &channel}, known, taken, out)
			}
		}
	}
	out.Problem = l.problem(len(out.Probes) > 0)
	if ctx.Err() != nil {
		out.Notes = append(out.Notes, fmt.Sprintf("not all of it could be searched within %v", searchLimit))
	}
	return taken
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

func addressesOfDrivers() (all []uint16) {
	for _, d := range drivers {
		all = append(all, d.Addresses...)
	}
	slices.Sort(all)
	return slices.Compact(all)
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

// resting is what a mere read gives, nil where nobody acknowledges it.
func resting(bus i2c.Bus, address uint16) []byte {
	var b [idleBytes]byte
	if bus.Tx(address, nil, b[:]) != nil {
		return nil
	}
	return b[:]
}

// segment searches a bus or one channel, and returns the addresses that answered.
func (s *search) segment(ctx context.Context, bus chip.Bus, at ProbeConfig, known, taken []uint16, out *sensors.FoundBus) (answered []uint16) {
	for _, address := range known {
		if slices.Contains(taken, address) || ctx.Err() != nil {
			continue
		}
		at.Address = address
		if found, ok := s.meet(bus, at); ok {
			out.Probes, answered = append(out.Probes, found), append(answered, address)
		}
	}
	return answered
}

// named is the chip that the configuration binds to a place.
func (s *search) named(at ProbeConfig) (ProbeConfig, bool) {
	for _, c := range s.Probes {
		if Identity(c) == Identity(at) {
			return c, true
		}
	}
	return ProbeConfig{}, false
}

// meet asks who is at a place.
func (s *search) meet(bus chip.Bus, at ProbeConfig) (f sensors.Found, ok bool) {
	f.Identity = Identity(at)
	idle := resting(bus, at.Address)
	sure, maybe := liking(bus, at.Address, idle)
	bound, named := s.named(at)
	written, _ := driverOf(bound.Chip)
	switch {
	case sure != nil:
		at.Chip = sure.Name
		if named && written.Name != sure.Name {
			f.Note = fmt.Sprintf("this is a %s, and the configuration writes chip: %s", sure.Name, bound.Chip)
		}
	case named && slices.Contains(maybe, written.Name):
		at.Chip = written.Name
	case len(maybe) > 0:
		f.Candidates = maybe
		f.Note = "nothing tells it for certain, and it may be a chip nestmon does not read; if you know it for " + maybe[0] + ", bind it: " + binds(at, maybe[0])
		return f, true
	case idle != nil:
		f.Note = "something answers here that is no chip nestmon reads; it was left alone"
		return f, true
	default:
		return f, false
	}
	driver, _ := driverOf(at.Chip)
	if named && written.Name == driver.Name {
		at.ShuntOhm = bound.ShuntOhm
	}
	f.Chip, f.Binds, f.Read, f.Takes = driver.Name, binds(at, driver.Name), s.reader(at, driver), driver.First
	return f, true
}

// liking asks one driver after another until one is sure.
func liking(bus chip.Bus, address uint16, idle []byte) (sure *chip.Driver, maybe []string) {
	for i := range drivers {
		d := &drivers[i]
		if !slices.Contains(d.Addresses, address) {
			continue
		}
		switch d.Like(bus, address, idle) {
		case chip.Sure:
			return d, nil
		case chip.Maybe:
			maybe = append(maybe, d.Name)
		case chip.No:
		}
	}
	return nil, maybe
}

func binds(at ProbeConfig, name string) string {
	text := fmt.Sprintf("source: %s, chip: %s, bus: %s, address: %s", Kind, name, at.Bus, hex(at.Address))
	if at.Channel != nil {
		text += fmt.Sprintf(", mux: %s, channel: %d", hex(at.Mux), *at.Channel)
	}
	return text
}

// reader reads a chip as the source does.
func (s *search) reader(c ProbeConfig, driver chip.Driver) func(ctx context.Context) sensors.Told {
	c.Entry = sensors.Entry{ID: "found", Source: Kind}
	if c.Channel != nil {
		channel := *c.Channel
		c.Channel = &channel
	}
	return func(ctx context.Context) sensors.Told {
		source, err := New(s.Root, []ProbeConfig{c}, time.Minute, slog.New(slog.DiscardHandler))
		if err != nil {
			return sensors.Told{Note: err.Error()}
		}
		defer source.Close() //nolint:errcheck // it was only read
		at, begin := source.seats[0], source.Now()
		a := source.ask(ctx, at)
		for a.fault != nil && a.fault.Reason == sensors.Settling && a.fault.Rest == 0 && source.Now().Sub(begin) <= driver.First+firstSlack {
			source.Sleep(firstLook)
			a = source.ask(ctx, at)
		}
		told := sensors.Told{Readings: source.readings([]answer{a})}
		if a.fault != nil {
			told.Note = a.fault.Story
		}
		return told
	}
}

// How often a first value is looked for, and how much longer than it should take; ours, no source.
const (
	firstLook  = 250 * time.Millisecond
	firstSlack = time.Second
)
