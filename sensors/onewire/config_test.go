package onewire_test

import (
	"log/slog"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/onewire"
)

func TestNewRefuses(t *testing.T) {
	for _, row := range []struct {
		name  string
		alter func(p []onewire.ProbeConfig)
		want  string
	}{
		{"bus missing", func(p []onewire.ProbeConfig) { p[1].Bus = "" }, "probe p1: bus: is missing; write w1-1 for the kernel's w1_bus_master1, i2c-1/0x18 for"},
		{"bus unknown", func(p []onewire.ProbeConfig) { p[1].Bus = "gpio4" }, `probe p1: bus: "gpio4" is not a 1-Wire bus; write w1-1 for`},
		{"no address", func(p []onewire.ProbeConfig) { p[1].Bus = "i2c-1" }, `probe p1: bus: "i2c-1" is not a 1-Wire bus; write`},
		{"no such channel", func(p []onewire.ProbeConfig) { p[1].Bus = "i2c-1/0x18/8" }, `probe p1: bus: "i2c-1/0x18/8" is not a 1-Wire bus; write`},
		{"an address periph refuses", func(p []onewire.ProbeConfig) { p[1].Bus = "i2c-1/0x1a" }, `probe p1: bus: "i2c-1/0x1a": the driver knows no DS2482 at 0x1a; strap the bridge to 0x18 or 0x19`},
		{"rom missing", func(p []onewire.ProbeConfig) { p[1].ROM = "" }, `probe p1: rom: "" is not a 1-Wire number; write it as the kernel does, 28- and twelve hexadecimal digits in small letters: nestmon probes lists them`},
		{"another family", func(p []onewire.ProbeConfig) { p[1].ROM = "10-0316a2794d51" }, `probe p1: rom: "10-0316a2794d51" is of family 10; only DS18B20`},
		{"bound twice", func(p []onewire.ProbeConfig) { p[1].ROM = p[0].ROM }, `probe p1: rom: 28-0316a2794d50 is bound to p0 already`},
		{"clone unknown", func(p []onewire.ProbeConfig) { p[0].Clone = "c" }, `probe p0: clone: "c" is not a clone family; write d or e`},
		{"id", func(p []onewire.ProbeConfig) { p[0].ID = "P 0" }, `probe P 0: id: "P 0" cannot be an id`},
	} {
		t.Run(row.name, func(t *testing.T) {
			probes := []onewire.ProbeConfig{
				{Entry: sensors.Entry{ID: "p0"}, Bus: "w1-1", ROM: "28-0316a2794d50"},
				{Entry: sensors.Entry{ID: "p1"}, Bus: "i2c-11/0x19/7", ROM: "28-0316a2794d51"},
			}
			if _, err := onewire.New("/", probes, 30*time.Second, slog.New(slog.DiscardHandler)); err != nil {
				t.Fatalf("as it should be: %v", err)
			}
			row.alter(probes)
			_, err := onewire.New("/", probes, 30*time.Second, slog.New(slog.DiscardHandler))
			if err == nil || !strings.HasPrefix(err.Error(), row.want) {
				t.Errorf("got %v, want %s …", err, row.want)
			}
		})
	}
}

func TestChannelsOfOneBridgeAreOneWire(t *testing.T) {
	for bus, want := range map[string]string{
		"w1-1": "onewire-w1-1", "i2c-1/0x18": "onewire-i2c-1-0x18", "i2c-1/0x18/0": "onewire-i2c-1-0x18", "i2c-1/0x18/7": "onewire-i2c-1-0x18",
	} {
		if got := onewire.Wire(bus); got != want {
			t.Errorf("%s: got %s, want %s", bus, got, want)
		}
	}
}
