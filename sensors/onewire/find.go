package onewire

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"
	"periph.io/x/conn/v3/onewire"

	"nestmon/sensors"
)

// Buses is every 1-Wire bus below a root that the kernel does not read itself: its masters while w1_therm is not loaded, and DS2482
// bridges at the addresses they are strapped to.
type Buses string

var _ sensors.Finder = Buses("")

// Find searches. A board without such a bus has no problem: most have none, and package w1 says how 1-Wire is switched on.
func (b Buses) Find(ctx context.Context, held func(bus string) bool) (buses []sensors.FoundBus) {
	s, err := New(string(b), nil, 0, slog.New(slog.DiscardHandler))
	if err != nil {
		return []sensors.FoundBus{{Bus: Kind, Problem: err.Error()}}
	}
	for _, lines := range append(b.masters(), b.bridges(held)...) {
		f := sensors.FoundBus{Bus: Wire(lines[0])}
		if l, err := parseLine(lines[0]); err == nil && l.address != 0 {
			f.Behind = fmt.Sprintf("i2c-%d/0x%02x", l.i2c, l.address)
		}
		if !held(f.Bus) {
			s.find(ctx, &f, lines)
		}
		buses = append(buses, f)
	}
	return buses
}

// masters lists the kernel's, one line each.
func (b Buses) masters() (all [][]string) {
	if thermometers(string(b)) {
		return nil // package w1 shows their probes
	}
	found, _ := filepath.Glob(filepath.Join(string(b), devices, "w1_bus_master[1-9]*")) // the pattern is right
	for _, f := range found {
		if bus := "w1-" + strings.TrimPrefix(filepath.Base(f), "w1_bus_master"); b == board || emulated(bus) {
			all = append(all, []string{bus})
		}
	}
	return all
}

// bridges lists the lines of every DS2482 that no driver of the kernel has.
func (b Buses) bridges(held func(string) bool) (all [][]string) {
	for _, n := range b.i2cBuses() {
		for _, address := range addresses[:2] { // those that the wiring names
			l := line{i2c: n, address: address}
			bus := fmt.Sprintf("i2c-%d/0x%02x", n, address)
			switch {
			case exists(string(b), fmt.Sprintf("sys/bus/i2c/devices/%d-%04x", n, address)):
			case held(Wire(bus)):
				all = append(all, []string{bus})
			case held(fmt.Sprintf("i2c-%d", n)): // chips are read there, perhaps behind a multiplexer that is open now
			case b.isBridge(l):
				all = append(all, b.channels(l, bus))
			}
		}
	}
	return all
}

// i2cBuses are the numbers of the kernel's I2C buses, and of those registered with periph.
func (b Buses) i2cBuses() (all []int) {
	names, _ := filepath.Glob(filepath.Join(string(b), "sys/bus/i2c/devices/i2c-*")) // the pattern is right
	for _, r := range i2creg.All() {
		names = append(names, r.Name)
	}
	for _, name := range names {
		n, err := strconv.Atoi(strings.TrimPrefix(filepath.Base(name), "i2c-"))
		if err == nil && strings.HasPrefix(filepath.Base(name), "i2c-") && !slices.Contains(all, n) {
			all = append(all, n)
		}
	}
	slices.Sort(all)
	return all
}

// strangers are register numbers that other chips at a bridge's addresses have and that are no commands of a bridge: an MCP9808 shows its
// maker and its model there (Microchip DS25095A).
var strangers = []byte{6, 7}

// isBridge tells a bridge from the chips that share its addresses, before its driver writes what would be settings to one of those. A
// bridge gives the register it stands at again and again, acknowledges no command it does not know (DS2482-100 datasheet, I²C
// communication), and is as it was after it. A chip with registers shows them; a transaction that failed by chance does not do so with
// each number and leave the chip as it was. What is taken for no bridge can still be configured.
func (b Buses) isBridge(l line) bool {
	bus, unlock, err := openI2C(string(b), l)
	if err != nil {
		return false
	}
	defer unlock() //nolint:errcheck // nothing was written
	defer bus.Close()
	d := i2c.Dev{Bus: bus, Addr: l.address}
	before, steady := resting(d)
	for _, number := range strangers {
		if !steady || d.Tx([]byte{number}, make([]byte, 2)) == nil {
			return false
		}
		var after byte
		if after, steady = resting(d); after != before {
			return false
		}
	}
	return steady
}

// restingBytes is how many a mere read asks for: enough to see that they are all the same. Ours, no source.
const restingBytes = 8

// resting is the byte that a mere read gives again and again. The level of the line is left out: it may change in between.
func resting(d i2c.Dev) (b byte, steady bool) {
	var all [restingBytes]byte
	if d.Tx(nil, all[:]) != nil {
		return 0, false
	}
	for i := range all {
		all[i] |= lineHigh
	}
	return all[0], bytes.Count(all[:], all[:1]) == len(all)
}

// channels lists the lines of a bridge: itself, or each channel of a DS2482-800.
func (b Buses) channels(l line, bus string) []string {
	l.channel = 1
	d, err := openBridge(string(b), l)
	if err != nil {
		return []string{bus}
	}
	defer d.Close()
	all := make([]string, 8)
	for n := range all {
		all[n] = fmt.Sprintf("%s/%d", bus, n)
	}
	return all
}

// find searches the lines of one bus. What is wrong with one channel is told beside what the others hold.
func (s *Source) find(ctx context.Context, found *sensors.FoundBus, lines []string) {
	var wrong []sensors.Found
	for _, bus := range lines {
		v, f := s.survey(ctx, bus)
		if f != nil && (f.Reason != sensors.NoAnswer || len(lines) == 1) { // a channel may be without a probe
			wrong = append(wrong, sensors.Found{Identity: bus, Note: f.Story})
		}
		r := &round{source: s, bus: bus}
		for _, c := range v.chips {
			found.Probes = append(found.Probes, r.found(c.rom))
		}
		for _, rom := range v.others {
			found.Probes = append(found.Probes, sensors.Found{Identity: rom, Note: "family " + rom[:2] + " is no DS18B20; it cannot be read"})
		}
		for _, rom := range v.phantoms {
			found.Probes = append(found.Probes, sensors.Found{Identity: rom, Note: "no probe: noise on the line made this number up; look for a long or damaged cable"})
		}
	}
	if len(found.Probes) == 0 && len(wrong) > 0 {
		found.Problem = wrong[0].Note
		return
	}
	found.Probes = append(found.Probes, wrong...)
}

// round lets one conversion serve all probes of a line that are read one after another.
type round struct {
	source *Source
	bus    string
	at     time.Time       // of the conversion
	used   map[string]bool // numbers read since; nil before the first
}

// roundLimit is how old a conversion may be that a probe is read from. Ours, no source.
const roundLimit = 5 * time.Second

func (r *round) found(rom string) sensors.Found {
	return sensors.Found{
		Identity: rom, Chip: sensors.ChipDS18B20, Binds: fmt.Sprintf("source: %s, bus: %s, rom: %s", Kind, r.bus, rom),
		Takes: Conversion + Scratchpad,
		Read:  func(ctx context.Context) sensors.Told { return r.read(ctx, rom) },
	}
}

func (r *round) read(ctx context.Context, rom string) sensors.Told {
	c := r.ask(ctx, rom)
	told := sensors.Told{Readings: []sensors.Reading{{Quantity: sensors.Temperature, Time: r.source.Now(), Value: c.celsius}}}
	clone, is := strings.CutPrefix(c.maker, "clone ")
	switch {
	case c.fault != nil:
		told.Readings[0].Fault, told.Note = c.fault.Reason, c.fault.Story
	case is:
		told.Note, told.Binds = "no genuine chip: its fixed bytes are those of clone family "+clone, "clone: "+clone
	}
	return told
}

func (r *round) ask(ctx context.Context, rom string) (c chip) {
	s := r.source
	if r.used == nil || r.used[rom] || s.Now().Sub(r.at) > roundLimit {
		if f := s.convert(ctx, r.bus); f != nil {
			return chip{fault: f}
		}
		if s.Sleep(ctx, Conversion) != nil {
			return chip{fault: ended()}
		}
		r.at, r.used = s.Now(), map[string]bool{}
	}
	r.used[rom] = true
	if f := s.burst(ctx, r.bus, func(b onewire.Bus) (err error) { c, err = s.meet(b, rom); return err }); f != nil {
		return chip{fault: f}
	}
	return c
}
