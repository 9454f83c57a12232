package onewire_test

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	conn "periph.io/x/conn/v3/onewire"
	"periph.io/x/conn/v3/onewire/onewirereg"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
	"nestmon/sensors/onewire"
	"nestmon/sensors/onewire/onewiretest"
)

func nobody(string) bool { return false }

// found is what a search tells of one bus.
func found(t *testing.T, bus string) sensors.FoundBus {
	t.Helper()
	all := onewire.Buses(t.TempDir()).Find(t.Context(), nobody)
	i := slices.IndexFunc(all, func(f sensors.FoundBus) bool { return f.Bus == bus })
	if i < 0 {
		t.Fatalf("%s was not found: %+v", bus, all)
	}
	return all[i]
}

func TestFindReadsAllOfALineFromOneConversion(t *testing.T) {
	leaf(t, "bridge", func(t *testing.T) {
		b := bridged(t, genuine, onewiretest.CloneD, onewiretest.CloneE, genuine)
		b.clock.Since = time.Now()
		b.chips[3].Fails = true
		b.line.Slaves = append(b.line.Slaves, onewiretest.New(other(0x26), genuine, 20), onewiretest.New(other(0x00), genuine, 20))
		f := found(t, onewire.Wire(b.probes[0].Bus))
		if b.line.Converts != 0 {
			t.Errorf("%d conversions for a search", b.line.Converts)
		}
		if f.Problem != "" || len(f.Probes) != 6 {
			t.Fatalf("got %+v, want four probes, one that is none, and a phantom", f)
		}
		want := []struct {
			value float64
			fault sensors.Fault
			binds string
		}{{30, "", ""}, {31, "", "clone: d"}, {32, "", "clone: e"}, {0, sensors.NotConverted, ""}}
		for round := 1; round <= 2; round++ {
			for n, w := range want {
				p := f.Probes[n]
				if binds := "source: onewire, bus: " + b.probes[n].Bus + ", rom: " + b.probes[n].ROM; p.Identity != b.probes[n].ROM || p.Binds != binds {
					t.Errorf("got %+v, want %s", p, binds)
				}
				told := p.Read(t.Context())
				if r := told.Readings[0]; r.Value != w.value || r.Fault != w.fault || told.Binds != w.binds {
					t.Errorf("%s: got %+v, want %+v", p.Identity, told, w)
				}
			}
			if b.line.Converts != round {
				t.Errorf("round %d: %d conversions", round, b.line.Converts)
			}
		}
		if p := f.Probes[4]; !strings.HasPrefix(p.Identity, "26-") || p.Read != nil {
			t.Errorf("got %+v of another family", p)
		}
		if p := f.Probes[5]; !strings.HasPrefix(p.Identity, "00-") || p.Read != nil || !strings.Contains(p.Note, "noise") {
			t.Errorf("got %+v of a phantom", p)
		}
		b.chips[0].Unplugged = true
		if told := f.Probes[0].Read(t.Context()); told.Readings[0].Fault != sensors.NoAnswer || told.Note == "" {
			t.Errorf("a probe that is gone: got %+v", told)
		}
		if open := b.leaks(); open != 0 {
			t.Errorf("%d left open", open)
		}
	})
}

func TestFindOfALineThatIsWrong(t *testing.T) {
	leaf(t, "bridge", func(t *testing.T) {
		b := bridged(t, genuine)
		wire := onewire.Wire(b.probes[0].Bus)
		b.line.Low = true
		if f := found(t, wire); !strings.Contains(f.Problem, "held low") {
			t.Errorf("held low: got %+v", f)
		}
		b.line.Low, b.line.Cut = false, true
		if f := found(t, wire); !strings.Contains(f.Problem, "no probe on the line answers") {
			t.Errorf("cut: got %+v", f)
		}
	})
}

func TestFindGoesThroughTheChannels(t *testing.T) {
	leaf(t, "DS2482-800", func(t *testing.T) {
		b := bridged(t, genuine)
		lines := []*onewiretest.Line{b.line}
		for n := 1; n < 8; n++ {
			lines = append(lines, &onewiretest.Line{Clock: b.clock})
		}
		lines[6].Slaves = []*onewiretest.DS18B20{onewiretest.New(address(1), genuine, 31)}
		*b.bridge = *onewiretest.NewDS2482(b.clock, lines...)
		f := found(t, onewire.Wire(b.probes[0].Bus))
		if f.Problem != "" || len(f.Probes) != 2 || !strings.Contains(f.Probes[1].Binds, "/0x18/6, rom: "+ds18b20.ROM(address(1))) {
			t.Errorf("got %+v", f)
		}
		lines[2].Low = true
		f = found(t, onewire.Wire(b.probes[0].Bus))
		if f.Problem != "" || len(f.Probes) != 3 || !strings.HasSuffix(f.Probes[2].Identity, "/0x18/2") || !strings.Contains(f.Probes[2].Note, "held low") {
			t.Errorf("a channel held low: got %+v", f)
		}
	})
}

// What answers at a bridge's address is told from it by what it answers: nothing but numbers of registers is written, for a thermometer
// would take e1 f0 for settings. A transaction that fails by chance makes no bridge of another chip.
func TestFindTellsABridgeFromOthers(t *testing.T) {
	clock := &onewiretest.Clock{}
	bridge := func(pointer ...byte) func() onewiretest.Chip {
		return func() onewiretest.Chip {
			d := onewiretest.NewDS2482(clock, chips(clock, genuine))
			if len(pointer) > 0 {
				must(t, d.Tx(pointer, nil))
			}
			return d
		}
	}
	const most = 12 // transactions of a look
	for _, row := range []struct {
		name   string
		chip   func() onewiretest.Chip
		bridge bool
	}{
		{"nobody", nil, false},
		{"a thermometer", func() onewiretest.Chip { return &thermometer{} }, false},
		{"a chip that answers all with one byte", func() onewiretest.Chip { return &registers{} }, false},
		{"a chip that answers a mere read only", func() onewiretest.Chip { return &counter{} }, false},
		{"DS2482", bridge(), true},
		{"DS2482 that stands at its data", bridge(0xe1, 0xe1), true},
		{"DS2482 that stands at its configuration", bridge(0xe1, 0xc3), true},
	} {
		leaf(t, row.name, func(t *testing.T) {
			for spoilt := -1; spoilt < most; spoilt++ {
				bus := &onewiretest.I2C{Chips: map[uint16]onewiretest.Chip{}}
				seen := &spy{}
				if row.chip != nil {
					seen.Chip = row.chip()
					bus.Chips[0x18] = seen
				}
				n := 0
				bus.Fault = func() error {
					if n++; n-1 == spoilt {
						return errors.New("sysfs-i2c: remote I/O error")
					}
					return nil
				}
				name := registered(t, bus)
				found := slices.ContainsFunc(onewire.Buses(t.TempDir()).Find(t.Context(), nobody), func(f sensors.FoundBus) bool { return f.Bus == "onewire-"+name+"-0x18" })
				if spoilt < 0 && found != row.bridge || found && !row.bridge {
					t.Errorf("transaction %d spoilt: found a bridge: %v, want %v", spoilt, found, row.bridge)
				}
				if !row.bridge && seen.longest > 1 {
					t.Errorf("transaction %d spoilt: %d bytes were written in one: more than the number of a register", spoilt, seen.longest)
				}
			}
		})
	}
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// spy remembers the longest write.
type spy struct {
	onewiretest.Chip
	longest int
}

func (s *spy) Tx(w, r []byte) error {
	s.longest = max(s.longest, len(w))
	return s.Chip.Tx(w, r)
}

// thermometer is a chip with registers of 16 bit; the one it stands at when it was powered is not used, and zero.
type thermometer struct{ at byte }

func (c *thermometer) Tx(w, r []byte) error {
	if len(w) > 0 {
		c.at = w[0]
	}
	for i := range r {
		r[i] = c.at * byte(i%2)
	}
	return nil
}

// counter is a chip without registers, whose answers go on.
type counter struct{ n byte }

func (c *counter) Tx(w, r []byte) error {
	if len(w) > 0 {
		return errors.New("sysfs-i2c: remote I/O error")
	}
	for i := range r {
		c.n++
		r[i] = c.n
	}
	return nil
}

// registers is a chip that has registers and answers of each.
type registers struct{ asked int }

func (c *registers) Tx(_, r []byte) error {
	c.asked++
	clear(r)
	return nil
}

func TestFindLeavesAloneWhatTheDaemonOrTheKernelReads(t *testing.T) {
	leaf(t, "bridge", func(t *testing.T) {
		b := bridged(t, genuine)
		touched := &registers{}
		b.i2c.Chips[0x18] = touched
		name, _, _ := strings.Cut(b.probes[0].Bus, "/")
		wire := onewire.Wire(b.probes[0].Bus)
		for held, listed := range map[string]bool{wire: true, name: false} {
			all := onewire.Buses(t.TempDir()).Find(t.Context(), func(bus string) bool { return bus == held })
			i := slices.IndexFunc(all, func(f sensors.FoundBus) bool { return f.Bus == wire })
			if listed != (i >= 0) || listed && len(all[i].Probes) != 0 {
				t.Errorf("%s is held: got %+v", held, all)
			}
		}
		root := t.TempDir()
		if err := os.MkdirAll(filepath.Join(root, "sys/bus/i2c/devices", strings.TrimPrefix(name, "i2c-")+"-0018"), 0o755); err != nil {
			t.Fatal(err)
		}
		for _, f := range onewire.Buses(root).Find(t.Context(), nobody) {
			if f.Bus == wire {
				t.Errorf("the kernel's bridge: got %+v", f)
			}
		}
		if touched.asked > 0 {
			t.Errorf("%d transactions with a bridge that is held", touched.asked)
		}
	})
}

func TestFindTheKernelsMasters(t *testing.T) {
	leaf(t, "netlink", func(t *testing.T) {
		b := netlinked(t, genuine)
		b.clock.Since = time.Now()
		if err := onewirereg.Register("w1-1", nil, -1, func() (conn.BusCloser, error) { return b.netlink.Open() }); err != nil {
			t.Fatal(err)
		}
		defer onewirereg.Unregister("w1-1") //nolint:errcheck // it was registered
		root := t.TempDir()
		for _, dir := range []string{"w1_bus_master1", "w1_bus_master2", "w1_bus_masters", "28-0316a2794d50"} {
			if err := os.MkdirAll(filepath.Join(root, "sys/bus/w1/devices", dir), 0o755); err != nil {
				t.Fatal(err)
			}
		}
		all := onewire.Buses(root).Find(t.Context(), nobody)
		if len(all) != 1 || all[0].Bus != "onewire-w1-1" || len(all[0].Probes) != 1 {
			t.Fatalf("got %+v", all)
		}
		if r := all[0].Probes[0].Read(t.Context()).Readings[0]; !r.OK() || r.Value != 30 {
			t.Errorf("got %+v", r)
		}
		if err := os.MkdirAll(filepath.Join(root, "sys/module/w1_therm"), 0o755); err != nil {
			t.Fatal(err)
		}
		if all := onewire.Buses(root).Find(t.Context(), nobody); len(all) != 0 {
			t.Errorf("with w1_therm, whose probes package w1 shows: got %+v", all)
		}
	})
}

func TestASearchOfANoisyLineEnds(t *testing.T) {
	each(t, 50, func(t *testing.T, n int) {
		b := bridged(t, genuine, genuine, genuine)
		bits := 0
		b.line.Noise = func() bool { bits++; return bits%(30+n) == 0 }
		for _, f := range b.Check() {
			if strings.Contains(f, "bound to nothing") {
				t.Errorf("every %dth bit spoilt: a number was made up: %s", 30+n, f)
			}
		}
	})
}
