package i2c

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"periph.io/x/conn/v3/i2c"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
)

// idleBytes is what a mere read asks for: more than any answer that may wait in a chip, and enough to see that they are all the same.
const idleBytes = 8

// resting is what a mere read gives, nil where nobody acknowledges it.
func resting(bus i2c.Bus, address uint16) []byte {
	var b [idleBytes]byte
	if bus.Tx(address, nil, b[:]) != nil {
		return nil
	}
	return b[:]
}

func addressesOfDrivers() (all []uint16) {
	for _, d := range drivers {
		all = append(all, d.Addresses...)
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// segment searches a bus or one channel, or looks there for what the configuration names only, and returns the addresses that answered.
func (s *search) segment(ctx context.Context, bus chip.Bus, at ProbeConfig, namedOnly bool, taken []uint16, out *sensors.FoundBus) (answered []uint16) {
	for _, address := range addressesOfDrivers() {
		if slices.Contains(taken, address) || ctx.Err() != nil {
			continue
		}
		at.Address = address
		if _, named := s.named(at); namedOnly && !named {
			continue
		}
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
