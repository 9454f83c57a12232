package main

import (
	"context"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
	"nestmon/sensors/i2c/i2ctest"
	"nestmon/sensors/onewire/onewiretest"
)

// rack is a wall with an I2C bus that holds chips before and behind a multiplexer, some of which the configuration names, a chip the
// kernel has, one without an identity, one that is none of ours, and a bridge to 1-Wire.
func rack(t *testing.T) (w *wall, bus *i2ctest.Bus) {
	w = newWall(t)
	line := &onewiretest.Line{Clock: &onewiretest.Clock{}}
	for rom, make := range map[string]onewiretest.Make{"28-0000000000a1": onewiretest.Genuine, "28-0000000000a2": onewiretest.CloneD} {
		address, _ := ds18b20.Address(rom)
		s := onewiretest.New(address, make, 19.5)
		s.Takes = 0 // its clock stands while nestmon waits
		line.Slaves = append(line.Slaves, s)
	}
	mux := &i2ctest.PCA9548{}
	mux.Channels[2] = map[uint16]i2ctest.Chip{0x44: &i2ctest.SHT4x{Celsius: 23, Humidity: 71, Serial: 3}}
	bus = &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{
		0x18: onewiretest.NewDS2482(line.Clock, line),
		0x1a: i2ctest.NewMCP9808(12.5),
		0x41: i2ctest.NewINA219(12.6, 0.05),
		0x45: &i2ctest.SHT4x{Celsius: 21, Humidity: 55, Serial: 1},
		0x47: i2ctest.NewHDC302x(20, 64),
		0x48: i2ctest.NewTMP102(-4),
		0x4c: i2ctest.NewAHT20(), // none of ours can be here
		0x71: mux,
	}}
	plug(t, "i2c-1", bus)
	w.write("dev/i2c-1", "")
	w.folder("sys/bus/w1/devices/w1_bus_master1")
	w.chip("1", "1-0046", "sht4x", map[string]string{"temp1_input": "12340\n", "humidity1_input": "81200\n"})
	w.link("sys/bus/i2c/drivers/sht4x", "sys/devices/soc/i2c-1/1-0046/driver")
	return w, bus
}

const rackConfig = `
site: {id: shed, name: Shed}
data: DATA
radio: {broker: "tcp://127.0.0.1:1"}
probes:
  - {id: a1-air, source: i2c, chip: sht4x, bus: i2c-1, address: 0x44, mux: 0x71, channel: 2}
  - {id: a1-cluster, source: onewire, bus: i2c-1/0x18, rom: 28-0000000000a1}
  - {id: b1-air, source: i2c, chip: hdc302x, bus: i2c-1, address: 0x47}
  - {id: b1-cluster, source: i2c, chip: mcp9808, bus: i2c-1, address: 0x1b}
  - {id: battery, source: i2c, chip: ina219, bus: i2c-1, address: 0x41}
  - {id: outside, source: radio, topic: yard/shade, pointers: {temperature: /t}, unit: C, interval: 5m}
nests:
  - {id: a1, kind: wooden-box, cluster: a1-cluster, air: a1-air}
  - {id: b1, kind: wooden-box, cluster: b1-cluster, air: b1-air}
outside: outside
`

func TestProbesListsBusesOfItsOwn(t *testing.T) {
	for _, row := range []struct{ name, golden, config string }{
		{"without a configuration", "rack-free.txt", ""},
		{"with one", "rack-bound.txt", rackConfig},
	} {
		t.Run(row.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				w, _ := rack(t)
				file, want := "", exitDone
				if row.config != "" {
					file, want = w.config(row.config), exitFinding // b1-cluster is missing
				}
				if code := w.bench(file).list(t.Context()); code != want {
					t.Errorf("exit %d", code)
				}
				w.golden(row.golden)
			})
		})
	}
}

// While the daemon reads the bus nobody else talks on it, and what it knows is shown: of probes by radio too, which only it can hear.
func TestProbesLeavesTheDaemonsBusesAlone(t *testing.T) {
	w, bus := rack(t)
	b := w.bench(w.config(rackConfig))
	d := &daemonView{}
	for _, name := range []string{"w1-1", "i2c-1", "i2c-1-kernel", "onewire-i2c-1-0x18", "radio"} {
		d.Buses = append(d.Buses, struct {
			Bus string `json:"bus"`
		}{name})
	}
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	for i, p := range b.cfg.Probes {
		h := probeHealth{Probe: p.ID, Reads: 400, LastGood: &now}
		for _, q := range p.probe(b.cfg).Quantities {
			value := float64(10 * (i + 1))
			h.Values = append(h.Values, surveyMeasured{Quantity: q.String(), Unit: q.Unit(), Value: &value})
		}
		d.Probes = append(d.Probes, h)
	}
	s := find(t.Context(), w.root, b.cfg, d)
	s.read(t.Context())
	if n := bus.Transactions(); n != 0 {
		t.Errorf("%d transactions on the daemon's bus", n)
	}
	if err := s.write(&w.out, b.cfg); err != nil {
		t.Fatal(err)
	}
	if code := s.exit(); code != exitDone {
		t.Errorf("exit %d", code)
	}
	w.golden("rack-daemon.txt")
}

// spy counts what is written to a chip.
type spy struct {
	i2ctest.Chip
	written [][]byte
}

func (s *spy) Tx(w, r []byte) error {
	if len(w) > 0 {
		s.written = append(s.written, slices.Clone(w))
	}
	return s.Chip.Tx(w, r)
}

// register is a chip with registers of one byte, which is none of ours.
type register struct{}

func (register) Reset() {}
func (register) Tx(_, r []byte) error {
	for i := range r {
		r[i] = 0x33
	}
	return nil
}

// Thermometers, bridges and chips that are none of ours share an address. Whoever looks for one writes the others no value.
func TestASearchForBridgesWritesOthersNoValue(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		thermometer, foreign := &spy{Chip: i2ctest.NewMCP9808(11)}, &spy{Chip: register{}}
		w := newWall(t)
		plug(t, "i2c-1", &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{0x18: thermometer, 0x19: foreign}})
		w.write("dev/i2c-1", "")
		s := find(t.Context(), w.root, nil, nil)
		for _, row := range []struct {
			chip *spy
			want [][]byte
		}{
			{thermometer, [][]byte{{0x06}, {0x06}, {0x07}}}, // register numbers: the maker for each that looks, and the model
			{foreign, [][]byte{{0x06}, {0x06}}},
		} {
			if !slices.EqualFunc(row.chip.written, row.want, slices.Equal) {
				t.Errorf("written % x, want % x", row.chip.written, row.want)
			}
		}
		i := slices.IndexFunc(s.Buses, func(b surveyBus) bool { return b.Bus == "i2c-1" })
		if i < 0 || len(s.Buses[i].Probes) != 2 || s.Buses[i].Probes[0].Chip != "mcp9808" || s.Buses[i].Probes[1].found.Read != nil {
			t.Errorf("got %+v", s.Buses)
		}
	})
}

// A transaction that fails by chance makes no bridge of a thermometer, whichever it is.
func TestASpoiltSearchForBridgesWritesAThermometerNoValue(t *testing.T) {
	const most = 8 // transactions with it, and some
	for spoilt := range most {
		synctest.Test(t, func(t *testing.T) {
			thermometer, n := &spy{Chip: i2ctest.NewMCP9808(11)}, 0
			w := newWall(t)
			plug(t, "i2c-1", &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{0x18: thermometer}, Fault: func(addr uint16, _, _ []byte) error {
				if addr != 0x18 {
					return nil
				}
				if n++; n-1 == spoilt {
					return i2ctest.ErrNack
				}
				return nil
			}})
			w.write("dev/i2c-1", "")
			for _, b := range find(t.Context(), w.root, nil, nil).Buses {
				if strings.HasPrefix(b.Bus, "onewire") {
					t.Errorf("transaction %d spoilt: found a bridge: %+v", spoilt, b)
				}
			}
			for _, written := range thermometer.written {
				if len(written) > 1 {
					t.Errorf("transaction %d spoilt: % x was written", spoilt, written)
				}
			}
		})
	}
}

// A 1-Wire number that the kernel shows and no driver of its own reads is listed once, as what can read it.
func TestANumberIsListedOnce(t *testing.T) {
	read := func(context.Context) sensors.Told { return sensors.Told{} }
	row := func(identity string, reads bool) surveyProbe {
		p := surveyProbe{Identity: identity}
		if reads {
			p.found.Read = read
		}
		return p
	}
	bound := row("28-3", false)
	bound.Place = &surveyPlace{Probe: "a1"}
	s := survey{Buses: []surveyBus{
		{Bus: "w1-1", Probes: []surveyProbe{row("28-1", false), row("28-2", true), bound}},
		{Bus: "onewire-w1-1", Probes: []surveyProbe{row("28-1", true), row("28-2", true), row("28-3", true)}, behind: "i2c-1/0x18"},
		{Bus: "i2c-1", Probes: []surveyProbe{row("i2c-1/0x18", false), row("i2c-1/0x44", true)}},
	}}
	s.once()
	var got []string
	for _, b := range s.Buses {
		for _, p := range b.Probes {
			got = append(got, b.Bus+" "+p.Identity)
		}
	}
	want := []string{"w1-1 28-2", "w1-1 28-3", "onewire-w1-1 28-1", "i2c-1 i2c-1/0x44"}
	if len(got) != len(want) {
		t.Fatalf("got %q, want %q", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("got %q, want %q", got[i], want[i])
		}
	}
}
