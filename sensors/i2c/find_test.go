package i2c

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"

	"nestmon/sensors"
	"nestmon/sensors/i2c/i2ctest"
)

// board is a made-up board whose buses are emulated.
func board(t *testing.T, buses map[string]*i2ctest.Bus) (root string) {
	t.Helper()
	root = t.TempDir()
	must(t, os.MkdirAll(filepath.Join(root, "dev"), 0o755))
	must(t, os.MkdirAll(filepath.Join(root, devices), 0o755))
	for name, bus := range buses {
		must(t, os.WriteFile(filepath.Join(root, "dev", name), nil, 0o600))
		must(t, i2creg.Register(name, nil, -1, func() (i2c.BusCloser, error) { return bus, nil }))
		t.Cleanup(func() { must(t, i2creg.Unregister(name)) })
	}
	return root
}

// still is a subtest whose waits take no time.
func still(t *testing.T, name string, run func(t *testing.T)) {
	t.Helper()
	t.Run(name, func(t *testing.T) { synctest.Test(t, run) })
}

func nobody(string) bool { return false }

// listed is what was found, by identity.
func listed(buses []sensors.FoundBus) map[string]sensors.Found {
	all := map[string]sensors.Found{}
	for _, b := range buses {
		for _, p := range b.Probes {
			all[p.Identity] = p
		}
	}
	return all
}

// foreign is a chip that nestmon does not drive, and what was written to it.
type foreign struct {
	answers []byte // over and over, to whatever is read; nil does not acknowledge a mere read
	mute    bool   // acknowledges no write either
	written [][]byte
}

func (f *foreign) Reset() {}

func (f *foreign) Tx(w, r []byte) error {
	if len(w) > 0 {
		f.written = append(f.written, slices.Clone(w))
	}
	if len(w) > 0 && f.mute || len(r) > 0 && f.answers == nil {
		return i2ctest.ErrNack
	}
	for i := range r {
		r[i] = f.answers[i%len(f.answers)]
	}
	return nil
}

// Every emulated chip is known at each of its addresses, and its value is read as the source reads it.
func TestFindKnowsEveryChip(t *testing.T) {
	noIdentity := []string{"ina219", "tmp102"}
	for _, d := range drivers {
		for _, address := range d.Addresses {
			still(t, fmt.Sprintf("%s at %s", d.Name, hex(address)), func(t *testing.T) {
				model := i2ctest.Models[d.Name]()
				want := make([]float64, len(d.Quantities))
				for i, span := range model.Spans {
					want[i] = (span[0] + span[1]) / 2
				}
				model.Set(want)
				root := board(t, map[string]*i2ctest.Bus{"i2c-1": {Chips: map[uint16]i2ctest.Chip{address: model.Chip}}})
				buses := Buses{Root: root}
				if slices.Contains(noIdentity, d.Name) {
					got := listed(buses.Find(t.Context(), nobody))["i2c-1/"+hex(address)]
					if !slices.Equal(got.Candidates, []string{d.Name}) || got.Chip != "" || got.Read != nil || got.Binds != "" {
						t.Errorf("without a configuration: got %+v", got)
					}
					buses.Probes = []ProbeConfig{{Chip: d.Name, Bus: "i2c-1", Address: address}}
				}
				all := buses.Find(t.Context(), nobody)
				if len(all) != 1 || len(all[0].Probes) != 1 || all[0].Problem != "" {
					t.Fatalf("got %+v", all)
				}
				got := all[0].Probes[0]
				if binds := fmt.Sprintf("source: i2c, chip: %s, bus: i2c-1, address: %s", d.Name, hex(address)); got.Chip != d.Name || got.Binds != binds || got.Note != "" {
					t.Fatalf("got %+v", got)
				}
				for range 2 {
					told := got.Read(t.Context())
					for i, r := range told.Readings {
						if off := r.Value - want[i]; !r.OK() || off > model.Off[i] || off < -model.Off[i] {
							t.Errorf("got %+v (%s), want %v", r, told.Note, want[i])
						}
					}
					if len(told.Readings) != len(want) {
						t.Errorf("got %+v", told)
					}
				}
			})
		}
	}
}

// What nestmon does not drive is written the number of a register, or a question that no chip at the address takes for a value, and never
// anything where it gives whatever is read.
func TestFindLeavesForeignChipsAlone(t *testing.T) {
	one := func(bytes ...byte) [][]byte {
		var all [][]byte
		for _, b := range bytes {
			all = append(all, []byte{b})
		}
		return all
	}
	for _, row := range []struct {
		name    string
		at      uint16
		chip    foreign
		allowed [][]byte
		shows   string // of the note, empty where it is not listed
	}{
		// PCF8574A, PCA9685, LIS3DH, PCF8591, HT16K33, MCP4725 and others, as their behaviour on the bus is known from memory.
		{"a port expander that reads levels", 0x38, foreign{answers: []byte{0xff}}, nil, "it was left alone"},
		{"a servo controller", 0x40, foreign{answers: []byte{0x11, 0x04, 0xe2, 0xe4}}, one(0x00), "may be a chip nestmon does not read"},
		{"a servo controller where hygrometers are", 0x44, foreign{answers: []byte{0x11, 0x04, 0xe2, 0xe4}}, one(0x00), ""},
		{"an accelerometer", 0x19, foreign{answers: []byte{0x00, 0x33}}, one(0x06), "it was left alone"},
		{"a converter", 0x48, foreign{answers: []byte{0x80}}, one(0x00, 0x01), "it was left alone"},
		{"a display", 0x70, foreign{answers: []byte{0x00}}, one(0x01), ""},
		{"a voltage source", 0x62, foreign{answers: []byte{0xc0, 0x80, 0x00}}, nil, "it was left alone"},
		{"a pressure sensor", 0x77, foreign{answers: []byte{0x55}}, one(0x01, 0xd0), "it was left alone"},
		{"a hygrometer of another family", 0x45, foreign{mute: true}, [][]byte{{0x37, 0x81}, {0x37, 0x81}, {0xf3, 0x2d}, {0xf3, 0x2d}, {0x89}, {0x89}}, ""},
		{"where no driver looks", 0x50, foreign{answers: []byte{1}}, nil, ""},
		{"a clock", 0x68, foreign{answers: []byte{1}}, nil, ""},
	} {
		still(t, row.name, func(t *testing.T) {
			root := board(t, map[string]*i2ctest.Bus{"i2c-1": {Chips: map[uint16]i2ctest.Chip{row.at: &row.chip}}})
			got, ok := listed(Buses{Root: root}.Find(t.Context(), nobody))["i2c-1/"+hex(row.at)]
			if !slices.EqualFunc(row.chip.written, row.allowed, slices.Equal) {
				t.Errorf("it was written % x, and % x is allowed", row.chip.written, row.allowed)
			}
			if got.Read != nil || got.Binds != "" || got.Chip != "" {
				t.Errorf("it was taken for a chip: %+v", got)
			}
			if row.shows != "" && (!ok || !strings.Contains(got.Note, row.shows)) {
				t.Errorf("got %+v", got)
			}
		})
	}
}

// Where three chips may be, each is told by its identity, and none is taken for another.
func TestFindTellsChipsOfOneAddressApart(t *testing.T) {
	for _, row := range []struct {
		name, want string
		chip       i2ctest.Chip
		maybe      []string
	}{
		{"sht4x", "sht4x", &i2ctest.SHT4x{Serial: 5, Celsius: 20, Humidity: 50}, nil},
		{"hdc302x", "hdc302x", i2ctest.NewHDC302x(20, 50), nil},
		{"ina219", "", i2ctest.NewINA219(12, 0), []string{"ina219"}},
		{"no serial number", "", &i2ctest.SHT4x{}, nil},
		{"another maker", "", &i2ctest.HDC302x{Maker: 0x5449}, nil},
	} {
		still(t, row.name, func(t *testing.T) {
			root := board(t, map[string]*i2ctest.Bus{"i2c-1": {Chips: map[uint16]i2ctest.Chip{0x44: row.chip}}})
			got := listed(Buses{Root: root}.Find(t.Context(), nobody))["i2c-1/0x44"]
			if got.Chip != row.want || !slices.Equal(got.Candidates, row.maybe) {
				t.Errorf("got %+v", got)
			}
		})
	}
}

// A chip that is busy refuses to name its maker, and is listed all the same.
func TestFindAHygrometerThatNamesNoMaker(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		bus := &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{0x44: i2ctest.NewHDC302x(20, 50)}, Fault: func(_ uint16, w, _ []byte) error {
			if len(w) == 2 && w[0] == 0x37 {
				return i2ctest.ErrNack
			}
			return nil
		}}
		got := listed(Buses{Root: board(t, map[string]*i2ctest.Bus{"i2c-1": bus})}.Find(t.Context(), nobody))["i2c-1/0x44"]
		if !slices.Equal(got.Candidates, []string{"hdc302x"}) || got.Read != nil {
			t.Errorf("got %+v", got)
		}
	})
}

// The configuration's chip is another than the one that is there: it is said, and the one that is there is read.
func TestFindSaysThatAnotherChipIsThere(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		root := board(t, map[string]*i2ctest.Bus{"i2c-1": {Chips: map[uint16]i2ctest.Chip{0x44: emulated(20)}}})
		got := listed(Buses{Root: root, Probes: []ProbeConfig{{Chip: "hdc302x", Bus: "i2c-1", Address: 0x44}}}.Find(t.Context(), nobody))["i2c-1/0x44"]
		if got.Chip != "sht4x" || got.Note != "this is a sht4x, and the configuration writes chip: hdc302x" {
			t.Errorf("got %+v", got)
		}
	})
}

// The channels of a multiplexer that is nobody's are searched, and what hangs before it is listed once.
func TestFindBehindAMultiplexer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		mux := &i2ctest.PCA9548{Control: 0x08} // left open by somebody
		mux.Channels[3] = map[uint16]i2ctest.Chip{0x44: emulated(21)}
		mux.Channels[7] = map[uint16]i2ctest.Chip{0x44: emulated(22)}
		bme := i2ctest.NewBME280()
		root := board(t, map[string]*i2ctest.Bus{"i2c-1": {Chips: map[uint16]i2ctest.Chip{0x70: mux, 0x45: emulated(20), 0x77: bme}}})
		buses := Buses{Root: root}.Find(t.Context(), nobody)
		got := listed(buses)
		for identity, celsius := range map[string]float64{"i2c-1/0x45": 20, "i2c-1/0x70.3/0x44": 21, "i2c-1/0x70.7/0x44": 22} {
			p, there := got[identity]
			if !there {
				t.Errorf("%s is not there: %+v", identity, got)
				continue
			}
			if r := p.Read(t.Context()).Readings[0]; !r.OK() || r.Value < celsius-0.01 || r.Value > celsius+0.01 {
				t.Errorf("%s: got %+v, want %v", identity, r, celsius)
			}
		}
		if want := "source: i2c, chip: sht4x, bus: i2c-1, address: 0x44, mux: 0x70, channel: 7"; got["i2c-1/0x70.7/0x44"].Binds != want {
			t.Errorf("got %q, want %q", got["i2c-1/0x70.7/0x44"].Binds, want)
		}
		if len(got) != 4 || got["i2c-1/0x77"].Chip != "bme280" || mux.Control != 0 {
			t.Errorf("got %d: %+v; the channels %08b are open", len(got), got, mux.Control)
		}
		if notes := buses[0].Notes; len(notes) != 1 || !strings.Contains(notes[0], "0x70 is a multiplexer that nestmon can switch") {
			t.Errorf("got %q", notes)
		}
	})
}

// A bus that the daemon reads, and every bus that is one wire with it, is not asked anything, and neither is what the kernel drives.
func TestFindAsksNobodyWhoIsBusy(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		kernels := &foreign{answers: []byte{1, 2, 3}}
		bus := map[string]*i2ctest.Bus{"i2c-1": {Chips: map[uint16]i2ctest.Chip{0x44: kernels, 0x45: emulated(20)}}, "i2c-11": {}, "i2c-12": {}, "i2c-2": {}}
		root := board(t, bus)
		topology(t, root, "-1")
		link(t, "../../../../bus/i2c/drivers/sht4x", filepath.Join(root, "sys/devices/soc/i2c-1/1-0044/driver"))
		for _, row := range []struct {
			held string
			busy []string // not asked
		}{
			{"", nil}, {"i2c-1", []string{"i2c-1", "i2c-11", "i2c-12"}}, {"i2c-11", []string{"i2c-1", "i2c-11"}}, {"i2c-2", []string{"i2c-2"}},
		} {
			before := map[string]int{}
			for name, b := range bus {
				before[name] = b.Transactions()
			}
			Buses{Root: root}.Find(t.Context(), func(b string) bool { return b == row.held })
			for name, b := range bus {
				asked := b.Transactions() > before[name]
				if busy := slices.Contains(row.busy, name); asked && busy || !asked && !busy && name != "i2c-1" {
					t.Errorf("the daemon reads %q: %s was asked: %v", row.held, name, asked)
				}
			}
		}
		if kernels.written != nil {
			t.Errorf("the kernel's chip was written % x", kernels.written)
		}
	})
}

func link(t *testing.T, target, at string) {
	t.Helper()
	must(t, os.MkdirAll(filepath.Dir(at), 0o755))
	must(t, os.Symlink(target, at))
}

// topology is a multiplexer of the kernel at 0x70 of i2c-1 with the channels i2c-11 and i2c-12, as the kernel's i2c-topology and the
// ABI of pca954x have it.
func topology(t *testing.T, root, idle string) {
	t.Helper()
	soc := filepath.Join(root, "sys/devices/soc/i2c-1")
	for _, name := range []string{"i2c-11", "i2c-12", "1-0070", "1-0044"} {
		must(t, os.MkdirAll(filepath.Join(soc, name), 0o755))
	}
	must(t, os.WriteFile(filepath.Join(soc, "1-0070/idle_state"), []byte(idle+"\n"), 0o600))
	link(t, "../../../../bus/i2c/drivers/pca954x", filepath.Join(soc, "1-0070/driver"))
	for i, name := range []string{"i2c-11", "i2c-12"} {
		link(t, "../"+name, filepath.Join(soc, fmt.Sprintf("1-0070/channel-%d", i)))
		link(t, filepath.Join(soc, name), filepath.Join(root, devices, name))
	}
	link(t, soc, filepath.Join(root, devices, "i2c-1"))
	for _, name := range []string{"1-0070", "1-0044"} {
		link(t, filepath.Join(soc, name), filepath.Join(root, devices, name))
	}
}

// What hangs before the kernel's multiplexer answers on each of its channels too. Where no channel stays open it is listed once; where one
// does, nothing tells which is which, and it is said.
func TestFindBehindTheKernelsMultiplexer(t *testing.T) {
	for _, row := range []struct {
		idle       string
		configured bool
		want       string
		says       string
	}{
		{"-2", false, "i2c-1/0x45 i2c-11/0x44 i2c-12/0x44", "0x70 is a multiplexer that the kernel switches"},
		{"-1", false, "i2c-11/0x44 i2c-11/0x45 i2c-12/0x44 i2c-12/0x45", "echo -2 | sudo tee /sys/bus/i2c/devices/1-0070/idle_state"},
		{"-1", true, "i2c-1/0x45 i2c-11/0x44 i2c-12/0x44", "idle_state"},
	} {
		still(t, fmt.Sprint(row.idle, row.configured), func(t *testing.T) {
			before := emulated(20)
			root := board(t, map[string]*i2ctest.Bus{
				"i2c-1":  {Chips: map[uint16]i2ctest.Chip{0x45: before, 0x70: &i2ctest.PCA9548{}}},
				"i2c-11": {Chips: map[uint16]i2ctest.Chip{0x45: before, 0x44: emulated(21)}},
				"i2c-12": {Chips: map[uint16]i2ctest.Chip{0x45: before, 0x44: emulated(22)}},
			})
			topology(t, root, row.idle)
			b := Buses{Root: root}
			if row.configured {
				b.Probes = []ProbeConfig{{Chip: "sht4x", Bus: "i2c-1", Address: 0x45}}
			}
			buses := b.Find(t.Context(), nobody)
			var got []string
			for _, f := range buses {
				for _, p := range f.Probes {
					got = append(got, p.Identity)
				}
			}
			if strings.Join(got, " ") != row.want {
				t.Errorf("got %q, want %q", got, row.want)
			}
			if notes := strings.Join(buses[0].Notes, "\n"); !strings.Contains(notes, row.says) || !strings.Contains(notes, "the kernel's drivers have 0x70 (pca954x)") {
				t.Errorf("got %q", notes)
			}
		})
	}
}

// A multiplexer of ours beside one of the kernel's that leaves its channel open: what the configuration has behind it is found, and nothing
// else is looked for there.
func TestFindBehindAMultiplexerBesideTheKernels(t *testing.T) {
	still(t, "named", func(t *testing.T) {
		own := &i2ctest.PCA9548{}
		own.Channels[3] = map[uint16]i2ctest.Chip{0x44: emulated(23), 0x45: emulated(24)}
		wire := &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{0x70: &i2ctest.PCA9548{}, 0x71: own}}
		root := board(t, map[string]*i2ctest.Bus{"i2c-1": wire, "i2c-11": wire, "i2c-12": wire})
		topology(t, root, "-1")
		c := behind(config("a", 0x44), 0x71, 3)
		for _, f := range (Buses{Root: root, Probes: []ProbeConfig{c}}).Find(t.Context(), nobody) {
			var got []string
			for _, p := range f.Probes {
				got = append(got, p.Identity)
			}
			if want := map[string]string{"i2c-1": Identity(c)}[f.Bus]; strings.Join(got, " ") != want {
				t.Errorf("%s: got %q, want %q", f.Bus, got, want)
			}
		}
	})
}

// A bus on which an address without a chip takes long is searched for as long as there is time, and is not taken for one that hangs,
// wherever the search is when its time is over.
func TestFindOnASlowBus(t *testing.T) {
	for took := 300 * time.Millisecond; took <= 376*time.Millisecond; took += 4 * time.Millisecond { // 376 ms were measured on an emulated i.MX6
		still(t, took.String(), func(t *testing.T) {
			root := board(t, map[string]*i2ctest.Bus{"i2c-1": {
				Chips: map[uint16]i2ctest.Chip{0x70: &i2ctest.PCA9548{}},
				Fault: func(addr uint16, _, _ []byte) error {
					if addr == 0x70 {
						return nil
					}
					time.Sleep(took)
					return i2ctest.ErrTimeout
				},
			}})
			got := Buses{Root: root}.Find(t.Context(), nobody)
			if len(got) != 1 || strings.Contains(got[0].Problem, "hangs") || !slices.ContainsFunc(got[0].Notes, func(n string) bool { return strings.Contains(n, "not all of it could be searched") }) {
				t.Errorf("got %+v", got)
			}
		})
	}
}

// What was found before the time was over is not listed again on the channels that hear the bus.
func TestFindOnASlowBusBeforeTheKernelsMultiplexer(t *testing.T) {
	still(t, "slow", func(t *testing.T) {
		wire := &i2ctest.Bus{
			Chips: map[uint16]i2ctest.Chip{0x44: emulated(20), 0x70: &i2ctest.PCA9548{}},
			Fault: func(addr uint16, _, _ []byte) error {
				if addr == 0x44 || addr == 0x70 {
					return nil
				}
				time.Sleep(time.Second) // the time-out of many controllers
				return i2ctest.ErrTimeout
			},
		}
		root := board(t, map[string]*i2ctest.Bus{"i2c-1": wire, "i2c-11": wire, "i2c-12": wire})
		topology(t, root, "-2")
		var all []string
		for _, f := range (Buses{Root: root}).Find(t.Context(), nobody) {
			for _, p := range f.Probes {
				all = append(all, p.Identity)
			}
		}
		if len(all) != 1 {
			t.Errorf("one chip is listed as %q", all)
		}
	})
}

func TestFindSaysWhyThereIsNothing(t *testing.T) {
	if got := (Buses{Root: t.TempDir()}).Find(t.Context(), nobody); len(got) != 1 || !strings.Contains(got[0].Problem, "there is no /dev/i2c-N; switch I2C on") {
		t.Errorf("no bus: got %+v", got)
	}
	for _, row := range []struct {
		fault error
		want  string
	}{
		{i2ctest.ErrTimeout, "a line is held low, or nothing is there"},
		{fmt.Errorf("sysfs-i2c: operation not supported"), "operation not supported"},
		{i2ctest.ErrNack, ""},
	} {
		still(t, row.fault.Error(), func(t *testing.T) {
			root := board(t, map[string]*i2ctest.Bus{"i2c-1": {Fault: func(uint16, []byte, []byte) error { return row.fault }}})
			got := Buses{Root: root}.Find(t.Context(), nobody)
			if len(got) != 1 || len(got[0].Probes) != 0 || !strings.Contains(got[0].Problem, row.want) || (row.want == "") != (got[0].Problem == "") {
				t.Errorf("got %+v", got)
			}
		})
	}
}

// A bus that hangs is left behind.
func TestFindEndsOnABusThatHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		stuck := make(chan struct{})
		root := board(t, map[string]*i2ctest.Bus{"i2c-1": {Fault: func(uint16, []byte, []byte) error { <-stuck; return i2ctest.ErrNack }}})
		if got := (Buses{Root: root}).Find(t.Context(), nobody); len(got) != 1 || !strings.Contains(got[0].Problem, "it hangs") {
			t.Errorf("got %+v", got)
		}
		close(stuck)
		time.Sleep(time.Minute) // what was left behind ends
	})
}
