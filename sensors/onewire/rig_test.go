package onewire_test

import (
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/i2c/i2creg"
	conn "periph.io/x/conn/v3/onewire"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
	"nestmon/sensors/onewire"
	"nestmon/sensors/onewire/onewiretest"
)

// barn is a source over an emulated line: by way of periph's ds248x and a DS2482 on an emulated I2C bus, or of an emulated netlink.
type barn struct {
	*onewire.Source
	clock  *onewiretest.Clock
	line   *onewiretest.Line // the first, and mostly the only one
	chips  []*onewiretest.DS18B20
	probes []onewire.ProbeConfig

	i2c     *onewiretest.I2C // nil with netlink
	bridge  *onewiretest.DS2482
	netlink *onewiretest.Netlink // nil with a bridge
}

var busNumber atomic.Int64 // periph's registry is one for all tests

// registered puts an emulated I2C bus where the board's would be.
func registered(t *testing.T, bus *onewiretest.I2C) (name string) {
	t.Helper()
	name = fmt.Sprintf("i2c-%d", 900+busNumber.Add(1))
	if err := i2creg.Register(name, nil, -1, bus.Handle); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := i2creg.Unregister(name); err != nil {
			t.Error(err)
		}
	})
	return name
}

// address is the number of the n-th chip; every byte differs somewhere, so that a search has to fork.
func address(n int) conn.Address {
	a, ok := ds18b20.Address(fmt.Sprintf("28-%012x", 0x0316a2794d50+int64(n)*0x010103000011))
	if !ok {
		panic("not a number")
	}
	return a
}

func chips(clock *onewiretest.Clock, makes ...onewiretest.Make) (l *onewiretest.Line) {
	l = &onewiretest.Line{Clock: clock}
	for n, m := range makes {
		l.Slaves = append(l.Slaves, onewiretest.New(address(n), m, 30+float64(n)))
	}
	return l
}

// clones is what the configuration writes for each make.
var clones = map[onewiretest.Make]string{onewiretest.CloneD: "d", onewiretest.CloneDOld: "d", onewiretest.CloneE: "e"}

func (b *barn) start(t *testing.T, bus string) {
	t.Helper()
	for n, c := range b.line.Slaves {
		b.chips = append(b.chips, c)
		b.probes = append(b.probes, onewire.ProbeConfig{
			Entry: sensors.Entry{ID: fmt.Sprintf("p%d", n), Source: onewire.Kind},
			Bus:   bus, ROM: ds18b20.ROM(c.Address), Clone: clones[c.Make],
		})
	}
	b.remake(t)
}

// remake makes the source anew, after a change of the probes.
func (b *barn) remake(t *testing.T) {
	t.Helper()
	s, err := onewire.New(t.TempDir(), b.probes, 30*time.Second, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	s.Sleep = b.clock.Sleep
	s.Now = func() time.Time { return time.Date(2031, 3, 9, 6, 0, 0, 0, time.UTC).Add(b.clock.Now()) }
	if b.netlink != nil {
		s.Open = func(string) (conn.BusCloser, error) { return b.netlink.Open() }
	}
	b.Source = s
}

// bridged is a line behind a DS2482-100, or more behind a -800, read by periph's own driver.
func bridged(t *testing.T, makes ...onewiretest.Make) *barn {
	t.Helper()
	b := &barn{clock: &onewiretest.Clock{}}
	b.line = chips(b.clock, makes...)
	b.bridge = onewiretest.NewDS2482(b.clock, b.line)
	b.i2c = &onewiretest.I2C{Chips: map[uint16]onewiretest.Chip{0x18: b.bridge}}
	b.start(t, registered(t, b.i2c)+"/0x18")
	return b
}

func netlinked(t *testing.T, makes ...onewiretest.Make) *barn {
	t.Helper()
	b := &barn{clock: &onewiretest.Clock{}}
	b.line = chips(b.clock, makes...)
	b.netlink = &onewiretest.Netlink{Line: b.line}
	b.start(t, "w1-1")
	return b
}

// ways are the two ways to a line.
var ways = []struct {
	name string
	make func(t *testing.T, makes ...onewiretest.Make) *barn
}{{"bridge", bridged}, {"netlink", netlinked}}

// leaks says what is still open.
func (b *barn) leaks() int64 {
	if b.netlink != nil {
		return int64(b.netlink.Opened - b.netlink.Closed)
	}
	return b.i2c.Open.Load()
}

// expect reads once and compares: a temperature, or the name of a fault, for each probe.
func (b *barn) expect(t *testing.T, want ...any) {
	t.Helper()
	got := b.Read(t.Context())
	if len(got) != len(want) {
		t.Fatalf("%d readings of %d probes: %+v", len(got), len(want), got)
	}
	for n, r := range got {
		switch w := want[n].(type) {
		case float64:
			if !r.OK() || r.Value != w {
				t.Errorf("%s: got %v with fault %q, want %v", r.Probe, r.Value, r.Fault, w)
			}
		case sensors.Fault:
			if r.Fault != w || r.Value != 0 {
				t.Errorf("%s: got %v with fault %q, want no value and %q", r.Probe, r.Value, r.Fault, w)
			}
		default:
			t.Fatalf("%T is no expectation", w)
		}
	}
	if open := b.leaks(); open != 0 {
		t.Errorf("%d still open after the read", open)
	}
}

// each runs n cases, some side by side, on a clock that waits for nobody: periph's ds248x sleeps while its bits pass.
func each(t *testing.T, n int, run func(t *testing.T, i int)) {
	t.Helper()
	for from := 0; from < n; from += 50 {
		synctest.Test(t, func(t *testing.T) {
			var all sync.WaitGroup
			for i := from; i < min(from+50, n); i++ {
				all.Go(func() { run(t, i) })
			}
			all.Wait()
		})
	}
}

// leaf is a subtest on such a clock.
func leaf(t *testing.T, name string, run func(t *testing.T)) {
	t.Helper()
	t.Run(name, func(t *testing.T) { synctest.Test(t, run) })
}
