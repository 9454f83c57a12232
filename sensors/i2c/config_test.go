package i2c

import (
	"log/slog"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
)

func TestNewRefuses(t *testing.T) {
	three := 3
	for _, row := range []struct {
		name  string
		alter func(c *ProbeConfig)
		want  string
	}{
		{"no chip", func(c *ProbeConfig) { c.Chip = "" }, `probe b: chip: "" cannot be read here; write one of: `},
		{"a chip of the kernel", func(c *ProbeConfig) { c.Chip = "dht22" }, `probe b: chip: "dht22" cannot be read here; write one of: `},
		{"no bus", func(c *ProbeConfig) { c.Bus = "" }, `probe b: bus: "" is not a bus; write i2c- and its number, such as i2c-1`},
		{"a path", func(c *ProbeConfig) { c.Bus = "/dev/i2c-1" }, `probe b: bus: "/dev/i2c-1" is not a bus; write i2c- and its number`},
		{"another name of bus 1", func(c *ProbeConfig) { c.Bus, c.Address = "i2c-01", 0x44 }, `probe b: bus: "i2c-01" is not a bus; write i2c- and its number`},
		{"no address", func(c *ProbeConfig) { c.Address = 0 }, "probe b: address: is missing; sht4x can be at 0x44, 0x45, 0x46"},
		{"a decimal address", func(c *ProbeConfig) { c.Address = 45 }, "probe b: address: sht4x cannot be at 0x2d; write one of: 0x44, 0x45, 0x46 (with 0x: without it the number is decimal)"},
		{"a channel alone", func(c *ProbeConfig) { c.Channel = &three }, "probe b: channel: means nothing without mux; write the multiplexer's address as mux: 0x70, or"},
		{"a mux alone", func(c *ProbeConfig) { c.Mux = 0x70 }, "probe b: channel: is missing; write the multiplexer's channel, 0 to 7"},
		{"no mux is there", func(c *ProbeConfig) { *c = behind(*c, 0x78, 3) }, "probe b: mux: 0x78 is not a multiplexer's address; write 0x70 to 0x77"},
		{"no mux is there either", func(c *ProbeConfig) { *c = behind(*c, 0x6f, 3) }, "probe b: mux: 0x6f is not"},
		{"channel 8", func(c *ProbeConfig) { *c = behind(*c, 0x70, 8) }, "probe b: channel: 8 is not a channel; write 0 to 7"},
		{"channel -1", func(c *ProbeConfig) { *c = behind(*c, 0x70, -1) }, "probe b: channel: -1 is not a channel; write 0 to 7"},
		{"a shunt", func(c *ProbeConfig) { c.ShuntOhm = 0.1 }, "probe b: shunt_ohm: means nothing for sht4x; remove it"},
		{"bound twice", func(c *ProbeConfig) { c.Address = 0x44 }, "probe b: address: i2c-1 0x44 is bound to a already; write the place of another chip"},
		{"the same address behind a mux", func(c *ProbeConfig) { *c = behind(*c, 0x70, 0); c.Address = 0x44 }, "probe b: address: 0x44 is also that of a, and one of the two is behind a multiplexer: both would answer at once"},
		{"an id", func(c *ProbeConfig) { c.ID = "B" }, `probe B: id: "B" cannot be an id`},
	} {
		t.Run(row.name, func(t *testing.T) {
			probes := []ProbeConfig{config("a", 0x44), config("b", 0x45)}
			row.alter(&probes[1])
			_, err := New("/", probes, 30*time.Second, slog.New(slog.DiscardHandler))
			if err == nil || !strings.HasPrefix(err.Error(), row.want) {
				t.Errorf("got %v, want %s …", err, row.want)
			}
		})
	}
}

func TestNewTakes(t *testing.T) {
	other := config("c", 0x44)
	other.Bus = "i2c-11"
	short := config("d", 0x46)
	short.Chip = "sht40"
	s, err := New("/", []ProbeConfig{behind(config("a", 0x44), 0x70, 0), behind(config("b", 0x44), 0x70, 7), behind(config("e", 0x44), 0x77, 0), other, short},
		30*time.Second, slog.New(slog.DiscardHandler))
	must(t, err)
	if len(s.lines) != 2 || len(s.lines[0].muxes) != 2 {
		t.Errorf("got %d buses, the first with %d multiplexers; want 2 and 2", len(s.lines), len(s.lines[0].muxes))
	}
	if p := s.Probes()[4]; p.Chip != sensors.ChipSHT4x || p.StaleAfter != 90*time.Second {
		t.Errorf("got %+v", p)
	}
}

// What a probe is bound to is told in full: it is what a person looks for along the cable.
func TestPlace(t *testing.T) {
	for want, c := range map[string]ProbeConfig{
		"i2c-1 0x44":                    config("a", 0x44),
		"i2c-1 mux 0x71 channel 0 0x44": behind(config("a", 0x44), 0x71, 0),
	} {
		if got := c.Place(); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}
