package onewire_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	conn "periph.io/x/conn/v3/onewire"

	"nestmon/sensors/ds18b20"
	"nestmon/sensors/onewire"
	"nestmon/sensors/onewire/onewiretest"
)

// other is a made-up number of a family, its checksum right.
func other(family byte) conn.Address {
	a := conn.Address(0x00000a1b2c3d00) | conn.Address(family)
	b := make([]byte, 7)
	for i := range b {
		b[i] = byte(a >> (8 * i))
	}
	return a | conn.Address(conn.CalcCRC(b))<<56
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
