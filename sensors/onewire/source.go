package onewire

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync/atomic"
	"time"

	"periph.io/x/conn/v3/onewire"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
)

// Conversion is how long all probes of a wire are given to convert: tCONV of the DS18B20 datasheet is 750 ms at most at 12 bit; the rest
// is for the clocks of clones (ours, no source).
const Conversion = 800 * time.Millisecond

// Scratchpad is how long reading one probe takes after that. Measured against an emulated DS2482 with the longest slots of the datasheet
// and I2C at 100 kHz: 36 ms. The rest is for the program (ours, no source).
const Scratchpad = 50 * time.Millisecond

// attempts is how often a line is opened, and a probe asked, in one poll: noise may spoil one answer, and a fresh start mends a lost
// message. More only holds up the bus's other probes.
const attempts = 2

var _ sensors.Source = (*Source)(nil)

// Source is the probes behind one master or one bridge.
type Source struct {
	Now   func() time.Time                                 // time.Now unless set before the first Read
	Sleep func(ctx context.Context, d time.Duration) error // waits, or returns the context's error at its end
	Open  func(bus string) (onewire.BusCloser, error)      // opens a line; below root unless set before the first Read
	Wire  string                                           // the bus's name, Kind unless set before the first Read

	root   string
	probes []ProbeConfig
	poll   time.Duration
	log    *sensors.ChangeLog
	told   map[string]bool // numbers that were set to 12 bit since their last fault
	closed atomic.Bool
}

// New makes a source of the probes; root is "/" on a board. Nothing is touched until Read: a probe or a bus that is missing does not
// keep the daemon from starting.
func New(root string, probes []ProbeConfig, poll time.Duration, log *slog.Logger) (*Source, error) {
	var bound sensors.Bindings
	for _, c := range probes {
		c.Validate(bound.Report(c.ID))
		bound.Bind(c.ID, "rom", c.ROM, "the number of another probe")
	}
	if err := bound.Err(); err != nil {
		return nil, err
	}
	return &Source{
		Now: time.Now, Sleep: sleep, Open: func(bus string) (onewire.BusCloser, error) { return open(root, bus) }, Wire: Kind,
		root: root, probes: probes, poll: poll, log: sensors.NewChangeLog(log), told: map[string]bool{},
	}, nil
}

func sleep(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Bus returns the wire's name.
func (s *Source) Bus() string { return s.Wire }

// Probes lists the probes in the order of the configuration.
func (s *Source) Probes() []sensors.Probe {
	var all []sensors.Probe
	for _, c := range s.probes {
		all = append(all, c.probe(s.poll))
	}
	return all
}

// lines lists the data wires of the probes.
func (s *Source) lines() (all []string) {
	for _, c := range s.probes {
		if !slices.Contains(all, c.Bus) {
			all = append(all, c.Bus)
		}
	}
	return all
}

// Again says that a reading between two polls takes nothing from the next.
func (s *Source) Again() bool { return true }

// Close makes further reads answer with faults. Between reads nothing is open; a message in flight ends by itself or not at all.
func (s *Source) Close() error {
	s.closed.Store(true)
	return nil
}

// answer is what came of one probe.
type answer struct {
	value float64
	fault *ds18b20.Fault
}

// Read lets all probes convert at once and reads one after another.
func (s *Source) Read(ctx context.Context) []sensors.Reading {
	got := make(map[string]answer, len(s.probes))
	at := s.readAll(ctx, got)
	readings := make([]sensors.Reading, len(s.probes))
	for i, c := range s.probes {
		a := got[c.ROM]
		readings[i] = sensors.Reading{Probe: c.ID, Quantity: sensors.Temperature, Time: at, Value: a.value}
		var cause error
		if a.fault != nil {
			readings[i].Value, readings[i].Fault = 0, a.fault.Reason
			cause = fmt.Errorf("%s %s: %w", c.Bus, c.ROM, a.fault)
			delete(s.told, c.ROM)
		}
		s.log.Note(readings[i], cause)
	}
	return readings
}

// readAll fills in the answer of every probe and tells when they were converted.
func (s *Source) readAll(ctx context.Context, got map[string]answer) time.Time {
	var converted []string
	for _, bus := range s.lines() {
		if f := s.convert(ctx, bus); f != nil {
			s.blame(bus, got, f) // not read: the chips would answer with what they last converted
			continue
		}
		converted = append(converted, bus)
	}
	if len(converted) > 0 && s.Sleep(ctx, Conversion) != nil {
		for _, bus := range converted {
			s.blame(bus, got, ended())
		}
		converted = nil
	}
	at := s.Now()
	for _, bus := range converted {
		if f := s.collect(ctx, bus, got); f != nil {
			s.blame(bus, got, f)
		}
	}
	return at
}

// blame enters a fault for every probe of the line that has no answer yet.
func (s *Source) blame(bus string, got map[string]answer, f *ds18b20.Fault) {
	for _, c := range s.probes {
		if _, done := got[c.ROM]; c.Bus == bus && !done {
			got[c.ROM] = answer{fault: f}
		}
	}
}

func ended() *ds18b20.Fault {
	return ds18b20.Faultf(sensors.TimedOut, "not asked: the time of this poll was over")
}

// over says why nothing more may be asked.
func (s *Source) over(ctx context.Context) *ds18b20.Fault {
	switch {
	case s.closed.Load():
		return ds18b20.Faultf(sensors.BusDown, "bus is closed")
	case ctx.Err() != nil:
		return ended()
	}
	return nil
}

// burst opens a line, lets do talk to it, and closes it. An error is answered by a fresh start.
func (s *Source) burst(ctx context.Context, bus string, do func(onewire.Bus) error) (f *ds18b20.Fault) {
	for range attempts {
		if f := s.over(ctx); f != nil {
			return f
		}
		err := s.once(bus, do)
		if err == nil {
			return nil
		}
		f, _ = faultOf(err)
	}
	return f
}

func (s *Source) once(bus string, do func(onewire.Bus) error) (err error) {
	b, err := s.Open(bus)
	if err != nil {
		return err
	}
	err = do(b)
	return errors.Join(err, b.Close())
}

// Commands of the DS18B20 datasheet.
const (
	skipROM         = 0xcc
	convertT        = 0x44
	readScratchpad  = 0xbe
	writeScratchpad = 0x4e
)

// convert makes every chip of a line begin to convert.
func (s *Source) convert(ctx context.Context, bus string) *ds18b20.Fault {
	return s.burst(ctx, bus, func(b onewire.Bus) error {
		return b.Tx([]byte{skipROM, convertT}, nil, onewire.WeakPullup)
	})
}

// collect reads the scratchpads of a line's probes. After a fresh start it goes on where it was.
func (s *Source) collect(ctx context.Context, bus string, got map[string]answer) *ds18b20.Fault {
	return s.burst(ctx, bus, func(b onewire.Bus) error {
		for _, c := range s.probes {
			if _, done := got[c.ROM]; c.Bus != bus || done {
				continue
			}
			if f := s.over(ctx); f != nil {
				got[c.ROM] = answer{fault: f}
				continue
			}
			a, pad, err := s.ask(b, c)
			if err != nil {
				return err
			}
			got[c.ROM] = a // first: read again at 12 bit, the bits without meaning would count
			if a.fault == nil {
				if err := s.sharpen(b, c.ROM, pad); err != nil {
					return err
				}
			}
		}
		return nil
	})
}

// ask reads one probe, twice where a second answer may be better; pad is what a value is of. err is of the way to the line, and nothing
// is known of the probe.
func (s *Source) ask(b onewire.Bus, c ProbeConfig) (a answer, pad ds18b20.Scratchpad, err error) {
	for range attempts {
		if pad, err = scratchpad(b, c.ROM); err != nil {
			f, healthy := faultOf(err)
			if !healthy {
				return answer{}, pad, err
			}
			a = answer{fault: f}
			continue
		}
		value, f := pad.Decode(c.Clone)
		a = answer{value, f}
		if f == nil || f.Reason != sensors.NoAnswer && f.Reason != sensors.BadChecksum && f.Reason != sensors.StuckLow {
			break
		}
	}
	return a, pad, nil
}

// scratchpad reads a chip's nine bytes. What a bus leaves unread stays ff, which no measurement is made of.
func scratchpad(b onewire.Bus, rom string) (pad ds18b20.Scratchpad, err error) {
	for i := range pad {
		pad[i] = 0xff
	}
	a, _ := ds18b20.Address(rom)
	d := onewire.Dev{Bus: b, Addr: a}
	err = d.Tx([]byte{readScratchpad}, pad[:])
	return pad, err
}

// sharpen sets a chip that works at less than 12 bit to 12, in its scratchpad only. A chip that stays as it was is not told again: some
// clones cannot.
func (s *Source) sharpen(b onewire.Bus, rom string, pad ds18b20.Scratchpad) error {
	if pad[4] == ds18b20.FullResolution || s.told[rom] {
		return nil
	}
	s.told[rom] = true
	a, _ := ds18b20.Address(rom)
	d := onewire.Dev{Bus: b, Addr: a}
	if err := d.Tx([]byte{writeScratchpad, pad[2], pad[3], ds18b20.FullResolution}, nil); err != nil {
		if _, healthy := faultOf(err); !healthy {
			return err
		}
	}
	return nil
}
