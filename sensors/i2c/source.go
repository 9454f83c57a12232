package i2c

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"slices"
	"sync/atomic"
	"time"

	"periph.io/x/conn/v3/i2c"

	"nestmon/sensors"
)

var _ sensors.Source = (*Source)(nil)

// Source is the chips of a bus, read one after another.
type Source struct {
	Now   func() time.Time    // time.Now unless set before the first Read
	Sleep func(time.Duration) // time.Sleep unless set before the first Read
	Wire  string              // the bus's name, Kind unless set before the first Read

	root    string
	configs []ProbeConfig
	probes  []sensors.Probe
	seats   []*seat
	lines   []*line
	log     *sensors.ChangeLog
	closed  atomic.Bool
}

// New makes a source of the chips. Nothing is opened until Read: a chip or a bus that is missing does not keep the daemon from starting.
func New(root string, probes []ProbeConfig, poll time.Duration, log *slog.Logger) (*Source, error) {
	s := &Source{Now: time.Now, Sleep: time.Sleep, Wire: Kind, root: root, configs: probes, log: sensors.NewChangeLog(log)}
	var bound sensors.Bindings
	for _, c := range probes {
		c.Validate(bound.Report(c.ID))
	}
	Together(probes, func(i int, path, problem string) { bound.Report(probes[i].ID)(path, problem) })
	if err := bound.Err(); err != nil {
		return nil, err
	}
	for _, c := range probes {
		s.probes = append(s.probes, c.probe(poll))
		s.seats = append(s.seats, s.seat(c))
	}
	return s, nil
}

// seat prepares the place of a chip.
func (s *Source) seat(c ProbeConfig) *seat {
	driver, _ := driverOf(c.Chip)
	l := s.line(c.Bus)
	at := &seat{driver: driver, address: c.Address, line: l, bus: l, random: rand.Float64}
	at.options.ShuntOhm = c.ShuntOhm
	if c.Mux != 0 {
		at.bus = port{l.mux(c.Mux), *c.Channel}
	}
	return at
}

func (s *Source) line(name string) *line {
	for _, l := range s.lines {
		if l.name == name {
			return l
		}
	}
	l := newLine(s.root, name, func() time.Time { return s.Now() }, func(d time.Duration) { s.Sleep(d) })
	s.lines = append(s.lines, l)
	return l
}

func newLine(root, name string, now func() time.Time, sleep func(time.Duration)) *line {
	return &line{name: name, open: func(name string) (i2c.BusCloser, error) { return openBus(root, name) }, now: now, sleep: sleep}
}

// mux finds or adds a multiplexer.
func (l *line) mux(addr uint16) *mux {
	for _, m := range l.muxes {
		if m.addr == addr {
			return m
		}
	}
	m := &mux{line: l, addr: addr}
	l.muxes = append(l.muxes, m)
	return m
}

// Bus returns the wire's name.
func (s *Source) Bus() string { return s.Wire }

// Probes lists the probes in the order of the configuration.
func (s *Source) Probes() []sensors.Probe { return s.probes }

// Read asks one chip after another. A transaction that hangs cannot be broken off; when ctx ends the probes that are left become
// TimedOut.
func (s *Source) Read(ctx context.Context) []sensors.Reading {
	answers := make([]answer, len(s.seats))
	for i, at := range s.seats {
		was := at.misses
		if answers[i] = s.ask(ctx, at); was > 0 && answers[i].fault == nil {
			at.line.back = true
		}
	}
	for i, at := range s.seats { // where one came back others may have, those that were left alone too
		if at.line.back && answers[i].rested && at.because.Rest == 0 {
			at.until = time.Time{}
			answers[i] = s.ask(ctx, at)
		}
	}
	for _, l := range s.lines {
		l.back = false
	}
	return s.readings(answers)
}

func (s *Source) readings(answers []answer) (readings []sensors.Reading) {
	for i, p := range s.probes {
		a := answers[i]
		for n, q := range p.Quantities {
			r := sensors.Reading{Probe: p.ID, Quantity: q, Time: a.at}
			var cause error
			if a.fault != nil {
				r.Fault, cause = a.fault.Reason, fmt.Errorf("%s: %w", s.configs[i].Place(), a.fault)
			} else {
				r.Value = a.values[n]
			}
			s.log.Note(r, cause)
			readings = append(readings, r)
		}
	}
	return readings
}

// Traffic counts the transactions of the bus, and those that failed by what failed.
func (s *Source) Traffic() *sensors.Traffic {
	t := &sensors.Traffic{Errors: make(map[string]uint64, numKinds)}
	for k := range kinds {
		t.Errors[kinds[k].name] = 0
	}
	for _, l := range s.lines {
		t.Transactions += l.counts.transactions.Load()
		t.Busy += time.Duration(l.counts.busy.Load())
		for k := range kinds {
			t.Errors[kinds[k].name] += l.counts.errors[k].Load()
		}
	}
	return t
}

// Again reports whether a reading between two polls takes nothing from the next: not from a chip that measures by itself and gives each result
// once, nor from one that has just failed and is left alone for a while.
func (s *Source) Again() bool {
	return !slices.ContainsFunc(s.seats, func(at *seat) bool { return at.driver.First > 0 || at.misses > 0 || at.chip == nil })
}

// Close makes further reads answer with faults. A transaction in flight ends by itself or not at all.
func (s *Source) Close() error {
	s.closed.Store(true)
	var errs []error
	for _, l := range s.lines {
		errs = append(errs, l.close())
	}
	return errors.Join(errs...)
}
