package main

import (
	"context"
	"log/slog"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	periph "periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"

	"nestmon/sensors"
	"nestmon/sensors/i2c"
	"nestmon/sensors/i2c/i2ctest"
	"nestmon/sensors/onewire"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// plug makes an emulated bus known by a name, as those of a board are.
func plug(t *testing.T, name string, bus *i2ctest.Bus) {
	t.Helper()
	if err := i2creg.Register(name, nil, -1, func() (periph.BusCloser, error) { return bus, nil }); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := i2creg.Unregister(name); err != nil {
			t.Error(err)
		}
	})
}

// briskPace waits for a line that hangs less than a poll does, and longer than any busy machine takes for one that does not: its clock runs
// ahead of whoever is late.
type briskPace struct{ stepPace }

func (*briskPace) Deadline() time.Duration { return 2 * time.Second }

// row is three nests on one line, and the probe outside on another.
type row struct {
	cfg     *config
	nests   *i2ctest.Bus
	outside *i2ctest.SHT4x
	name    string                       // of the nests' line, as alarms have it
	trouble atomic.Pointer[func() error] // of each transaction on the nests' line
}

func newRow(t *testing.T) *row {
	t.Helper()
	r := &row{cfg: defaultConfig(), outside: &i2ctest.SHT4x{Celsius: 18, Humidity: 60, Serial: 1}, name: "east-row"}
	r.cfg.Data, r.cfg.Publish = t.TempDir(), publishConfig{}
	r.nests = &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{}, Fault: func(uint16, []byte, []byte) error {
		if f := r.trouble.Load(); f != nil {
			return (*f)()
		}
		return nil
	}}
	plug(t, "east-row", r.nests)
	plug(t, "yard", &i2ctest.Bus{Chips: map[uint16]i2ctest.Chip{0x44: r.outside}})
	probe := func(id, bus string, address uint16) {
		r.cfg.Probes = append(r.cfg.Probes, probeConfig{Entry: sensors.Entry{ID: id, Source: "i2c"}, Chip: "sht4x", Bus: bus, Address: address})
	}
	for i, id := range []string{"a", "b", "c"} {
		address := uint16(0x44 + i)
		r.nests.Chips[address] = &i2ctest.SHT4x{Celsius: 20, Humidity: 60, Serial: uint32(address)}
		probe(id+"-air", "east-row", address)
		r.cfg.Nests = append(r.cfg.Nests, nestConfig{ID: id, Kind: brood.WoodenBox, Air: id + "-air"})
	}
	probe("shade", "yard", 0x44)
	r.cfg.Outside = "shade"
	r.cfg.settle()
	return r
}

// live runs the daemon for a while, calls at before each poll, and returns what was raised and cleared.
func (r *row) live(t *testing.T, lasts time.Duration, at func(minute int)) (raised, cleared []string) {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	p := &briskPace{}
	p.end, p.fin = demoStart.Add(lasts), cancel
	from := demoStart
	p.now.Store(&from)
	d, err := newDaemon(r.cfg, parts{
		log: slog.New(slog.DiscardHandler), pace: p, trusted: func(time.Time) bool { return true },
		sources: func() ([]sensors.Source, error) {
			all, err := openBus(r.cfg, "/", slog.New(slog.DiscardHandler))
			for _, s := range all {
				switch s := s.(type) {
				case *i2c.Source:
					s.Now = p.Now
				case *onewire.Source:
					s.Now = p.Now
				}
			}
			return all, err
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	d.seen = func(events []alarm.Event) {
		for _, e := range events {
			said := strings.TrimSpace(e.Nest + " " + string(e.Name) + " " + e.Severity.String())
			switch e.State {
			case alarm.Raised:
				raised = append(raised, said)
			case alarm.Cleared:
				cleared = append(cleared, said)
			}
			if e.Name == alarm.BusFault && e.State == alarm.Raised && !strings.Contains(e.Text, r.name+" does not answer") {
				t.Errorf("got %q: it does not name the line", e.Text)
			}
		}
	}
	d.mend = func(now time.Time) { at(int(now.Sub(demoStart).Minutes())) }
	if err := d.run(ctx); err != nil {
		t.Fatal(err)
	}
	r.trouble.Store(nil)
	ending, done := context.WithTimeout(context.Background(), 10*time.Second)
	defer done()
	if err := d.stop(ending); err != nil && !strings.Contains(err.Error(), "hangs") {
		t.Fatal(err)
	}
	return raised, cleared
}

// A cable bitten through is one alarm, not one for each nest that hung on it: while the weather can harm no kits. The line that hangs
// holds up no other.
func TestADeadLineIsOneAlarm(t *testing.T) {
	stuck := make(chan struct{})
	defer close(stuck)
	for _, trouble := range []struct {
		name string
		do   func() error
	}{
		{"it gives up each time", func() error { return i2ctest.ErrTimeout }},
		{"it hangs for ever", func() error { <-stuck; return i2ctest.ErrTimeout }},
	} {
		for _, weather := range []struct {
			name    string
			outside float64 // °C
			want    []string
		}{
			{"mild", 18, []string{"bus-fault warning"}},
			{"freezing", -5, []string{"bus-fault warning", "a probe-silent urgent", "b probe-silent urgent", "c probe-silent urgent"}},
		} {
			t.Run(trouble.name+" in "+weather.name+" weather", func(t *testing.T) {
				r := newRow(t)
				r.outside.Celsius = weather.outside
				var got []string
				raised, _ := r.live(t, 25*time.Minute, func(minute int) {
					if minute == 3 {
						r.trouble.Store(&trouble.do)
					}
				})
				for _, said := range raised {
					if strings.Contains(said, "bus-fault") || strings.Contains(said, "probe-") {
						got = append(got, said)
					}
				}
				if !slices.Equal(got, weather.want) {
					t.Errorf("raised %q, want %q", got, weather.want)
				}
			})
		}
	}
}

// When the line is back, its nests are watched again and the alarm ends. What stays silent then is told for itself.
func TestALineThatComesBack(t *testing.T) {
	r := newRow(t)
	gone := func() error { return i2ctest.ErrNack }
	raised, cleared := r.live(t, 40*time.Minute, func(minute int) {
		switch minute {
		case 3:
			r.trouble.Store(&gone)
		case 10:
			delete(r.nests.Chips, 0x46)
			r.trouble.Store(nil)
		}
	})
	if want := []string{"bus-fault warning", "c probe-silent notice", "c probe-silent warning"}; !slices.Equal(raised, want) {
		t.Errorf("raised %q, want %q", raised, want)
	}
	if want := []string{"bus-fault warning"}; !slices.Equal(cleared, want) {
		t.Errorf("cleared %q, want %q", cleared, want)
	}
}

func TestWiresOfI2C(t *testing.T) {
	channel := 3
	c := defaultConfig()
	for i, p := range []probeConfig{
		{Chip: "sht4x", Bus: "i2c-1", Address: 0x44},
		{Entry: sensors.Entry{Source: "kernel"}, Device: "/sys/bus/i2c/devices/1-0045"},
		{Chip: "sht4x", Bus: "i2c-11", Address: 0x44},
		{Chip: "sht4x", Bus: "i2c-1", Address: 0x46, Mux: 0x70, Channel: &channel},
	} {
		if p.ID = "p" + string(rune('a'+i)); p.Source == "" {
			p.Source = "i2c"
		}
		c.Probes = append(c.Probes, p)
	}
	all, err := openBus(c, t.TempDir(), slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, s := range all {
		var ids []string
		for _, p := range s.Probes() {
			ids = append(ids, p.ID)
		}
		got = append(got, s.Bus()+": "+strings.Join(ids, " "))
	}
	if want := []string{"i2c-1: pa pd", "i2c-1-kernel: pb", "i2c-11: pc"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}
