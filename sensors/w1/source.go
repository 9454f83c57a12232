package w1

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
)

const (
	devices   = "sys/bus/w1/devices"
	slaveSize = 256 // w1_slave is two lines of some forty characters
)

// Conversion is how long the reading of one probe holds the bus at 12 bit: 760 to 787 ms were measured.
const Conversion = 770 * time.Millisecond

// attempts is how often a probe is asked before it counts as silent: a signal or noise may spoil one conversion, the
// kernel itself repeats a bad checksum some more.
const attempts = 2

var _ sensors.Source = (*Source)(nil)

// Source is one of the kernel's 1-Wire buses, read one probe after another.
type Source struct {
	Now  func() time.Time // time.Now unless set before the first Read
	Wire string           // the bus's name, Kind unless set before the first Read

	root   string
	probes []ProbeConfig
	poll   time.Duration
	log    *sensors.ChangeLog
	closed atomic.Bool
}

// New makes a source of the probes below root, "/" on a board. Nothing is touched until Read: a probe or a bus that is
// missing does not keep the daemon from starting.
func New(root string, probes []ProbeConfig, poll time.Duration, log *slog.Logger) (*Source, error) {
	var bound sensors.Bindings
	for _, c := range probes {
		c.Validate(bound.Report(c.ID))
		bound.Bind(c.ID, "rom", c.ROM, "the number of another probe")
	}
	if err := bound.Err(); err != nil {
		return nil, err
	}
	return &Source{Now: time.Now, Wire: Kind, root: root, probes: probes, poll: poll, log: sensors.NewChangeLog(log)}, nil
}

// Bus returns the wire's name.
func (s *Source) Bus() string { return s.Wire }

// Wire names the wire a probe hangs on: w1-1 for the kernel's w1_bus_master1. A probe the kernel does not show hangs on w1, the wire
// of the missing.
func Wire(root, rom string) string {
	at, err := os.Readlink(filepath.Join(root, devices, rom))
	if err != nil {
		return Kind
	}
	master, found := strings.CutPrefix(filepath.Base(filepath.Dir(at)), "w1_bus_master")
	if !found {
		return Kind
	}
	return Kind + "-" + master
}

// Probes lists the probes in the order of the configuration.
func (s *Source) Probes() []sensors.Probe {
	var all []sensors.Probe
	for _, c := range s.probes {
		all = append(all, c.probe(s.poll))
	}
	return all
}

// Read converts and reads one probe after another. A conversion that has begun cannot be broken off; when ctx ends the
// probes that are left become TimedOut.
func (s *Source) Read(ctx context.Context) []sensors.Reading {
	readings := make([]sensors.Reading, 0, len(s.probes))
	for _, c := range s.probes {
		value, f := s.ask(ctx, c)
		r := sensors.Reading{Probe: c.ID, Quantity: sensors.Temperature, Time: s.Now(), Value: value}
		var cause error
		if f != nil {
			r.Fault, cause = f.Reason, fmt.Errorf("w1 %s: %w", c.ROM, f)
		}
		s.log.Note(r, cause)
		readings = append(readings, r)
	}
	return readings
}

// Again says that a reading between two polls takes nothing from the next.
func (s *Source) Again() bool { return true }

// Close makes further reads answer with faults. A conversion in flight ends by itself or not at all.
func (s *Source) Close() error {
	s.closed.Store(true)
	return nil
}

// ask reads one probe, twice where a second attempt may help.
func (s *Source) ask(ctx context.Context, c ProbeConfig) (value float64, f *ds18b20.Fault) {
	for range attempts {
		switch {
		case s.closed.Load():
			return 0, ds18b20.Faultf(sensors.BusDown, "bus is closed")
		case ctx.Err() != nil:
			return 0, ds18b20.Faultf(sensors.TimedOut, "not asked: the time of this poll was over")
		}
		value, f = s.once(c)
		if f == nil || f.Reason != sensors.NoAnswer && f.Reason != sensors.BadChecksum {
			return value, f
		}
	}
	return 0, f
}

func (s *Source) once(c ProbeConfig) (float64, *ds18b20.Fault) {
	dir := filepath.Join(s.root, devices)
	text, err := sensors.ReadOnce(filepath.Join(dir, c.ROM, "w1_slave"), slaveSize)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if _, err := os.Stat(dir); err != nil {
			return 0, ds18b20.Faultf(sensors.BusDown, "%s does not exist; %s", dir, enable)
		}
		return 0, ds18b20.Faultf(sensors.NoAnswer, "is not on the bus; check its three wires and the number")
	case err != nil:
		return 0, ds18b20.Faultf(sensors.NoAnswer, "%v", err)
	case len(text) == 0:
		return 0, ds18b20.Faultf(sensors.NoAnswer, "empty answer: no presence, a bad checksum or an interrupted conversion")
	}
	pad, f := parse(text)
	if f != nil {
		return 0, f
	}
	return pad.Decode(c.Clone)
}
