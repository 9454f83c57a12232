package kernel

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"nestmon/sensors"
)

// Buses is every bus on which kernel drivers show a temperature or humidity below a root.
type Buses string

var _ sensors.Finder = Buses("")

// w1Driver shows the 1-Wire probes a second time, each look a conversion; sensors/w1 reads them better.
const w1Driver = "w1_slave_temp"

// Find lists the drivers' folders, which costs the buses nothing: held is not asked.
func (b Buses) Find(_ context.Context, _ func(string) bool) []sensors.FoundBus {
	s := &Source{root: string(b)}
	if lack := s.lacksClasses(); lack != "" {
		return []sensors.FoundBus{{Bus: Kind, Problem: lack}}
	}
	var buses []sensors.FoundBus
	for i := range classes {
		for _, d := range classes[i].entries(filepath.Join(s.root, classes[i].dir)) {
			if d.name == w1Driver || len(d.shows()) == 0 {
				continue
			}
			path := s.stable(d)
			name := Wire(path)
			at := slices.IndexFunc(buses, func(f sensors.FoundBus) bool { return f.Bus == name })
			if at < 0 {
				at, buses = len(buses), append(buses, sensors.FoundBus{Bus: name})
			}
			buses[at].Probes = append(buses[at].Probes, s.found(d, path))
		}
	}
	if len(buses) == 0 {
		return []sensors.FoundBus{{Bus: Kind, Problem: "no driver shows a temperature or humidity; load the sensor's driver"}}
	}
	return buses
}

func (s *Source) found(d device, path string) sensors.Found {
	f := sensors.Found{Identity: path}
	onBus := "/sys/bus/i2c/devices/" + filepath.Base(path) // short, and as documentation writes it
	if _, err := os.Stat(filepath.Join(s.root, onBus)); err == nil {
		path = onBus
	}
	chip, _, known := sensors.Chip(d.name)
	switch {
	case known:
		f.Chip = chip
	case !strings.HasPrefix(Wire(path), "i2c-") && d.class == &classes[0]:
		f.Note = fmt.Sprintf("%s is most likely the board's own thermometer, no probe", d.name)
	default:
		f.Note = fmt.Sprintf("driver %s is not one nestmon knows; its values are taken as they come", d.name)
	}
	if known || strings.HasPrefix(Wire(path), "i2c-") || d.class != &classes[0] {
		f.Binds = "source: " + Kind + ", device: " + path
		if known {
			f.Binds += ", chip: " + d.name
		}
	}
	f.Read = func(context.Context) sensors.Told {
		var told sensors.Told
		for _, q := range d.shows() {
			r := sensors.Reading{Quantity: q}
			var err error
			if r.Value, r.Fault, err = read(d, q); err != nil {
				told.Note = err.Error()
			}
			r.Time = time.Now()
			told.Readings = append(told.Readings, r)
		}
		return told
	}
	return f
}

// Identity is the Found.Identity of the device a configuration names, the device as written where it is not there.
func Identity(root, name string) string {
	s := &Source{root: root}
	d, err := s.find(ProbeConfig{Device: name})
	if err != nil {
		return name
	}
	return s.stable(d)
}
