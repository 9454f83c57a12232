package kernel

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"nestmon/sensors"
)

const numberSize = 64 // bytes of a file that holds one number

var _ sensors.Source = (*Source)(nil)

// Source is the probes that kernel drivers read, one after another.
type Source struct {
	Now  func() time.Time // time.Now unless set before the first Read
	Wire string           // the bus's name, Kind unless set before the first Read

	root    string
	configs []ProbeConfig
	probes  []sensors.Probe
	log     *sensors.ChangeLog
	closed  atomic.Bool
}

// New makes a source of the probes below root, "/" on a board. A missing device does not keep the daemon from starting;
// devices are looked at only for what they measure where neither chip nor configuration says it.
func New(root string, probes []ProbeConfig, poll time.Duration, log *slog.Logger) (*Source, error) {
	s := &Source{Now: time.Now, Wire: Kind, root: root, configs: probes, log: sensors.NewChangeLog(log)}
	var bound sensors.Bindings
	for _, c := range probes {
		c.Validate(bound.Report(c.ID))
		bound.Bind(c.ID, "device", c.Device, "another device")
		s.probes = append(s.probes, c.probe(poll, func() []sensors.Quantity {
			d, err := s.find(c)
			if err != nil {
				return nil
			}
			return d.shows()
		}))
	}
	if err := bound.Err(); err != nil {
		return nil, err
	}
	return s, nil
}

// Bus returns the wire's name.
func (s *Source) Bus() string { return s.Wire }

// Wire names the wire a device hangs on, so that devices that can hold each other up are read by one worker and others are not: i2c-1 for a
// path that ends in 1-0044, else the device itself.
func Wire(device string) string {
	name := filepath.Base(device)
	adapter, address, found := strings.Cut(name, "-")
	if _, err := strconv.ParseUint(adapter, 10, 16); !found || err != nil || len(address) != 4 {
		return Kind + "-" + name
	}
	return "i2c-" + adapter
}

// Probes lists the probes in the order of the configuration.
func (s *Source) Probes() []sensors.Probe { return s.probes }

// Read reads one file after another. A driver that hangs cannot be broken off; when ctx ends the probes that are left
// become TimedOut.
func (s *Source) Read(ctx context.Context) []sensors.Reading {
	var readings []sensors.Reading
	for i, p := range s.probes {
		d, missing := s.find(s.configs[i])
		for _, q := range p.Quantities {
			r := sensors.Reading{Probe: p.ID, Quantity: q}
			var err error
			switch {
			case s.closed.Load():
				r.Fault, err = sensors.BusDown, errors.New("source is closed")
			case ctx.Err() != nil:
				r.Fault, err = sensors.TimedOut, errors.New("not asked: the time of this poll was over")
			case missing != nil:
				r.Fault, err = faultOf(missing, false), missing
			default:
				r.Value, r.Fault, err = read(d, q)
			}
			r.Time = s.Now()
			s.log.Note(r, err)
			readings = append(readings, r)
		}
	}
	return readings
}

// Again says that a reading between two polls takes nothing from the next.
func (s *Source) Again() bool { return true }

// Close makes further reads answer with faults. A read in flight ends by itself or not at all.
func (s *Source) Close() error {
	s.closed.Store(true)
	return nil
}

func read(d device, q sensors.Quantity) (float64, sensors.Fault, error) {
	path := d.file(q)
	text, err := sensors.ReadOnce(path, numberSize)
	if err != nil {
		return 0, faultOf(err, d.name == "w1_slave_temp"), err
	}
	if len(text) == 0 {
		return 0, sensors.NoAnswer, fmt.Errorf("%s is empty", path)
	}
	value, err := parse(text)
	if err != nil {
		return 0, sensors.Malformed, fmt.Errorf("%s: %w", path, err)
	}
	return value, "", nil
}

// Check says what a person should put right before the probes can be read.
func (s *Source) Check() []string {
	if lack := s.lacksClasses(); lack != "" {
		return []string{lack}
	}
	var findings []string
	for i, c := range s.configs {
		d, err := s.find(c)
		if err != nil {
			findings = append(findings, fmt.Sprintf("probe %s: %v", c.ID, err))
			continue
		}
		for _, q := range s.probes[i].Quantities {
			if _, err := os.Stat(d.file(q)); err != nil {
				findings = append(findings, fmt.Sprintf("probe %s: driver %s shows no %s; write quantities: with what it measures", c.ID, d.name, q))
			}
		}
	}
	return findings
}

// lacksClasses says what to do on a machine whose kernel shows no sensor of any kind.
func (s *Source) lacksClasses() string {
	for _, c := range classes {
		if _, err := os.Stat(filepath.Join(s.root, c.dir)); err == nil {
			return ""
		}
	}
	return fmt.Sprintf("neither %s nor %s is there; load the sensor's driver (on a Raspberry Pi: dtoverlay=i2c-sensor,sht4x in config.txt, then restart the board)",
		filepath.Join(s.root, classes[0].dir), filepath.Join(s.root, classes[1].dir))
}
