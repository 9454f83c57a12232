package main

import (
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"

	"nestmon/sensors"
)

// warm is w1_slave of a DS18B20 at 38.0 °C: its datasheet's coding, checksum computed by the Dallas polynomial.
const warm = "60 02 4b 46 7f ff 10 10 f2 : crc=f2 YES\n60 02 4b 46 7f ff 10 10 f2 t=38000\n"

// hang puts a probe on a wire as the kernel shows it: a folder below its master, and a link to it.
func hang(t *testing.T, root, master, rom string) (folder string) {
	t.Helper()
	folder = filepath.Join(root, "sys/devices", master, rom)
	link := filepath.Join(root, "sys/bus/w1/devices", rom)
	for _, dir := range []string{folder, filepath.Dir(link)} {
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink(filepath.Join("../../../devices", master, rom), link); err != nil {
		t.Fatal(err)
	}
	return folder
}

// Two rows of nests on two wires: one hangs for ever, the other is read as if nothing were.
func TestAWireThatHangsHoldsUpNoOther(t *testing.T) {
	root := t.TempDir()
	well, hung := "28-0316a2794d5f", "28-0416c1e07bff"
	if err := os.WriteFile(filepath.Join(hang(t, root, "w1_bus_master1", well), "w1_slave"), []byte(warm), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Mkfifo(filepath.Join(hang(t, root, "w1_bus_master2", hung), "w1_slave"), 0o600); err != nil {
		t.Fatal(err)
	}
	probe := func(id, source, rom, device string) probeConfig {
		return probeConfig{Entry: sensors.Entry{ID: id, Source: source}, ROM: rom, Device: device}
	}
	c := defaultConfig()
	c.Probes = []probeConfig{
		probe("a", "w1", well, ""), probe("b", "w1", hung, ""), probe("gone", "w1", "28-0516d2a119ee", ""),
		probe("c", "kernel", "", "/sys/bus/i2c/devices/1-0044"), probe("d", "kernel", "", "/sys/bus/i2c/devices/1-0045"), probe("e", "kernel", "", "dht11"),
	}
	sources, err := openBus(c, root, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, s := range sources {
		names = append(names, s.Bus())
	}
	if want := []string{"w1-1", "w1-2", "w1", "i2c-1", "kernel-dht11"}; !slices.Equal(names, want) {
		t.Errorf("wires %v, want %v", names, want)
	}
	p := sensors.NewPoller(sources, slog.New(slog.DiscardHandler))
	defer p.Close()
	for poll := range 2 {
		got := map[string]sensors.Reading{}
		for _, r := range p.Poll(t.Context(), 200*time.Millisecond) {
			got[r.Probe] = r
		}
		if a := got["a"]; !a.OK() || a.Value != 38 {
			t.Errorf("poll %d: the wire that is well gave %+v", poll, a)
		}
		if b := got["b"]; b.OK() {
			t.Errorf("poll %d: the wire that hangs gave %+v", poll, b)
		}
	}
}
