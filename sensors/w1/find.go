package w1

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
)

// Buses is every 1-Wire bus the kernel shows below a root.
type Buses string

var _ sensors.Finder = Buses("")

const masterPrefix = "w1_bus_master"

// Find lists the directories of the kernel, which costs the buses nothing: held is not asked.
func (b Buses) Find(_ context.Context, _ func(string) bool) []sensors.FoundBus {
	dir := filepath.Join(string(b), devices)
	entries, err := os.ReadDir(dir)
	if err != nil {
		return []sensors.FoundBus{{Bus: Kind, Problem: fmt.Sprintf("%s cannot be listed; %s", dir, enable)}}
	}
	var buses []sensors.FoundBus
	at := func(name string) *sensors.FoundBus {
		i := slices.IndexFunc(buses, func(f sensors.FoundBus) bool { return f.Bus == name })
		if i < 0 {
			i, buses = len(buses), append(buses, sensors.FoundBus{Bus: name})
		}
		return &buses[i]
	}
	for _, e := range entries {
		if n, master := strings.CutPrefix(e.Name(), masterPrefix); master && n != "s" {
			at(Kind + "-" + n)
		}
	}
	for _, e := range entries {
		family, _, slave := strings.Cut(e.Name(), "-")
		if !slave || !ds18b20.IsROM(e.Name()) {
			continue
		}
		wire := at(Wire(string(b), e.Name()))
		wire.Probes = append(wire.Probes, b.found(e.Name(), family))
	}
	if len(buses) == 0 {
		return []sensors.FoundBus{{Bus: Kind, Problem: fmt.Sprintf("%s holds no bus master; %s", dir, enable)}}
	}
	return buses
}

func (b Buses) found(rom, family string) sensors.Found {
	switch family {
	case "28":
		if b.unread(rom) {
			return sensors.Found{Identity: rom, Chip: sensors.ChipDS18B20, Note: "the kernel's w1_therm does not read it: sudo modprobe w1_therm, or write source: onewire"}
		}
	case "00":
		return sensors.Found{Identity: rom, Note: "no probe: noise on the line made this number up; look for a long or damaged cable"}
	default:
		return sensors.Found{Identity: rom, Note: "family " + family + " is no DS18B20; it cannot be read"}
	}
	clone := "" // until a reading tells
	return sensors.Found{
		Identity: rom, Chip: sensors.ChipDS18B20, Binds: "source: " + Kind + ", rom: " + rom, Takes: Conversion,
		Read: func(ctx context.Context) sensors.Told {
			var told sensors.Told
			told, clone = b.read(ctx, rom, clone)
			return told
		},
	}
}

// unread reports whether the kernel shows the probe and has no driver for it.
func (b Buses) unread(rom string) bool {
	dir := filepath.Join(string(b), devices, rom)
	if _, err := os.Stat(dir); err != nil {
		return false
	}
	_, err := os.Stat(filepath.Join(dir, "w1_slave"))
	return errors.Is(err, fs.ErrNotExist)
}

// read asks the probe as the chip it was last, and where its fixed bytes are not those, as each clone that is known.
func (b Buses) read(ctx context.Context, rom, clone string) (sensors.Told, string) {
	s := &Source{root: string(b)}
	value, f := s.ask(ctx, ProbeConfig{ROM: rom, Clone: clone})
	for _, other := range [...]string{"", "d", "e"} {
		if f == nil || f.Reason != sensors.WrongProbe {
			break
		}
		if v, g := s.ask(ctx, ProbeConfig{ROM: rom, Clone: other}); g == nil {
			value, f, clone = v, nil, other
		}
	}
	r := sensors.Reading{Quantity: sensors.Temperature, Time: time.Now(), Value: value}
	told := sensors.Told{Readings: []sensors.Reading{r}}
	switch {
	case f != nil:
		told.Readings[0].Fault, told.Note = f.Reason, f.Story
	case clone != "":
		told.Note, told.Binds = "no genuine chip: its fixed bytes are those of clone family "+clone, "clone: "+clone
	}
	return told, clone
}
