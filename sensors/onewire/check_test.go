package onewire_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	conn "periph.io/x/conn/v3/onewire"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
	"nestmon/sensors/onewire"
	"nestmon/sensors/onewire/onewiretest"
)

func TestLook(t *testing.T) {
	for _, way := range ways {
		leaf(t, way.name, func(t *testing.T) {
			b := way.make(t, genuine, onewiretest.CloneD, onewiretest.CloneE, genuine, genuine)
			b.chips[3].Store(0x1f)
			b.chips[4].Fails = true
			// A DS2438, made up, which takes no part in a conversion here.
			b.line.Slaves = append(b.line.Slaves, onewiretest.New(other(0x26), genuine, 20), onewiretest.New(other(0x00), genuine, 20))
			got, err := b.Look(t.Context(), b.probes[0].Bus)
			if err != nil {
				t.Fatal(err)
			}
			want := map[string]onewire.Found{
				b.probes[0].ROM: {Maker: "genuine", Bits: 12, Celsius: 30},
				b.probes[1].ROM: {Maker: "clone d", Bits: 12, Celsius: 31},
				b.probes[2].ROM: {Maker: "clone e", Bits: 12, Celsius: 32},
				b.probes[3].ROM: {Maker: "genuine", Bits: 9, Celsius: 33},
				b.probes[4].ROM: {Maker: "genuine", Bits: 12, Fault: sensors.NotConverted, Story: "127.94 °C is the value of a failed conversion"},
			}
			if len(got.Probes) != len(want) {
				t.Fatalf("found %+v", got.Probes)
			}
			for _, f := range got.Probes {
				w := want[f.ROM]
				if w.ROM = f.ROM; f != w {
					t.Errorf("got %+v, want %+v", f, w)
				}
			}
			if len(got.Others) != 1 || !strings.HasPrefix(got.Others[0], "26-") || got.Phantoms != 1 {
				t.Errorf("got %q and %d phantoms, want one of family 26 and one", got.Others, got.Phantoms)
			}
			if b.line.Converts != 1 {
				t.Errorf("%d conversions", b.line.Converts)
			}
			if open := b.leaks(); open != 0 {
				t.Errorf("%d left open", open)
			}
		})
	}
}

// other is a made-up number of a family, its checksum right.
func other(family byte) conn.Address {
	a := conn.Address(0x00000a1b2c3d00) | conn.Address(family)
	b := make([]byte, 7)
	for i := range b {
		b[i] = byte(a >> (8 * i))
	}
	return a | conn.Address(conn.CalcCRC(b))<<56
}

func TestLookOnALineThatIsWrong(t *testing.T) {
	for _, way := range ways {
		b := way.make(t, genuine)
		b.line.Low = true
		if _, err := b.Look(t.Context(), b.probes[0].Bus); err == nil || !strings.Contains(err.Error(), "held low") {
			t.Errorf("%s, held low: got %v", way.name, err)
		}
		b.line.Low, b.line.Cut = false, true
		if _, err := b.Look(t.Context(), b.probes[0].Bus); err == nil || !strings.Contains(err.Error(), "no probe on the line answers") {
			t.Errorf("%s, cut: got %v", way.name, err)
		}
	}
}

func TestASearchOfANoisyLineEnds(t *testing.T) {
	for _, way := range ways {
		each(t, 50, func(t *testing.T, n int) {
			b := way.make(t, genuine, genuine, genuine)
			bits := 0
			b.line.Noise = func() bool { bits++; return bits%(30+n) == 0 }
			v, err := b.Look(t.Context(), b.probes[0].Bus)
			for _, f := range v.Probes {
				if !slices.ContainsFunc(b.probes, func(c onewire.ProbeConfig) bool { return c.ROM == f.ROM }) {
					t.Errorf("%s, every %dth bit spoilt: found %+v (%v)", way.name, 30+n, f, err)
				}
			}
		})
	}
}

func TestCheck(t *testing.T) {
	for _, row := range []struct {
		name string
		do   func(b *barn)
		want []string // parts of findings, BUS in place of the bus
	}{
		{"all is well", func(*barn) {}, nil},
		{"one is missing", func(b *barn) { b.chips[1].Unplugged = true }, []string{"probe p1: 28-0417a5794d61 is not on BUS; check its three wires and the number (every other one there is already bound)"}},
		{"another is there", func(b *barn) { b.line.Slaves[1] = onewiretest.New(address(9), genuine, 20) }, []string{"(there and bound to nothing: " + ds18b20.ROM(address(9)) + ")"}},
		{"a clone", func(b *barn) { b.line.Slaves[1] = onewiretest.New(address(1), onewiretest.CloneD, 20) }, []string{"answers as clone d, and is configured as genuine; write clone: d if you trust it, after an ice bath"}},
		{"no clone", func(b *barn) { b.line.Slaves[2] = onewiretest.New(address(2), genuine, 20) }, []string{"answers as genuine, and is configured as clone d; remove clone"}},
		{"low resolution", func(b *barn) { b.chips[0].Store(0x3f) }, []string{"probe p0: 28-0316a2794d50 is set to 10 bit, a step of 0.25 °C"}},
		{"phantoms", func(b *barn) { b.line.Slaves = append(b.line.Slaves, onewiretest.New(other(0), genuine, 20)) }, []string{"BUS shows 1 numbers that no chip has: the line is noisy"}},
		{"held low", func(b *barn) { b.line.Low = true }, []string{"1-Wire bus BUS: "}},
		{"cut", func(b *barn) { b.line.Cut = true }, []string{""}},
	} {
		for _, way := range ways {
			leaf(t, row.name+", "+way.name, func(t *testing.T) {
				b := way.make(t, genuine, genuine, onewiretest.CloneD)
				row.do(b)
				got := b.Check()
				if row.name == "cut" && way.name == "netlink" {
					row.want = []string{"probe p0: ", "probe p1: ", "probe p2: "} // the kernel's search finds nobody, and says no more
				}
				if len(got) != len(row.want) {
					t.Fatalf("got %q, want %q", got, row.want)
				}
				for n, w := range row.want {
					if !strings.Contains(got[n], strings.ReplaceAll(w, "BUS", b.probes[0].Bus)) {
						t.Errorf("got %q, want %q", got[n], w)
					}
				}
				if b.line.Converts != 0 {
					t.Error("check has converted")
				}
			})
		}
	}
}

func TestRivalsInTheKernel(t *testing.T) {
	for _, row := range []struct{ bus, path, want string }{
		{"w1-1", "sys/module/w1_therm", "sudo modprobe -r w1_therm"},
		{"i2c-1/0x18", "sys/bus/i2c/devices/1-0018/driver", "sudo modprobe -r ds2482"},
	} {
		b := netlinked(t, genuine)
		b.probes[0].Bus = row.bus
		root := t.TempDir()
		check := func() []string {
			s, err := onewire.New(root, b.probes, 0, nil)
			if err != nil {
				t.Fatal(err)
			}
			s.Open = func(string) (conn.BusCloser, error) { return b.netlink.Open() }
			return s.Check()
		}
		if got := check(); len(got) != 0 {
			t.Errorf("%s without a rival: got %q", row.bus, got)
		}
		if err := os.MkdirAll(filepath.Join(root, row.path), 0o755); err != nil {
			t.Fatal(err)
		}
		if got := check(); len(got) != 1 || !strings.Contains(got[0], row.want) {
			t.Errorf("%s: got %q, want %q", row.bus, got, row.want)
		}
	}
}

func TestMasters(t *testing.T) {
	root := t.TempDir()
	if got := onewire.Masters(root); got != nil {
		t.Errorf("got %q of nothing", got)
	}
	for _, name := range []string{"w1_bus_master1", "w1_bus_master2", "28-0316a2794d50"} {
		if err := os.MkdirAll(filepath.Join(root, "sys/bus/w1/devices", name), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	if got := onewire.Masters(root); !slices.Equal(got, []string{"w1-1", "w1-2"}) {
		t.Errorf("got %q", got)
	}
}
