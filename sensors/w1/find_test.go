package w1_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"nestmon/sensors"
	"nestmon/sensors/w1"
)

func found(t *testing.T, root string) map[string]sensors.FoundBus {
	t.Helper()
	all := map[string]sensors.FoundBus{}
	for _, b := range w1.Buses(root).Find(t.Context(), func(string) bool { return false }) {
		all[b.Bus] = b
	}
	return all
}

func TestFindSaysWhatIsMissing(t *testing.T) {
	root := t.TempDir()
	if got := found(t, root)["w1"].Problem; !strings.Contains(got, "cannot be listed; enable 1-Wire") {
		t.Errorf("without 1-Wire: got %q", got)
	}
	dir := filepath.Join(root, "sys/bus/w1/devices")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if got := found(t, root)["w1"].Problem; !strings.Contains(got, "holds no bus master; enable 1-Wire") {
		t.Errorf("without a master: got %q", got)
	}
	if err := os.Mkdir(filepath.Join(dir, "w1_bus_master1"), 0o755); err != nil {
		t.Fatal(err)
	}
	if got, ok := found(t, root)["w1-1"]; !ok || got.Problem != "" || len(got.Probes) != 0 {
		t.Errorf("an empty bus: got %+v", got)
	}
}

func TestFindListsWhatHangsOnEachWire(t *testing.T) {
	root := t.TempDir()
	dir := filepath.Join(root, "sys/bus/w1/devices")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for rom, master := range map[string]string{"28-000000000001": "1", "10-000802b4d5a6": "1", "28-000000000002": "2", "00-c00000000000": "2"} {
		if err := os.Symlink("../../../devices/w1_bus_master"+master+"/"+rom, filepath.Join(dir, rom)); err != nil {
			t.Fatal(err)
		}
	}
	got := found(t, root)
	for _, row := range []struct {
		bus  string
		at   int
		want string // of binds, or of the note where there is none
	}{
		{"w1-1", 0, "family 10 is no DS18B20"},
		{"w1-1", 1, "source: w1, rom: 28-000000000001"},
		{"w1-2", 0, "noise on the line"},
		{"w1-2", 1, "source: w1, rom: 28-000000000002"},
	} {
		p := got[row.bus].Probes[row.at]
		if !strings.Contains(p.Binds+p.Note, row.want) || (p.Read == nil) != (p.Binds == "") {
			t.Errorf("%s %d: got %+v", row.bus, row.at, p)
		}
	}
	told := got["w1-1"].Probes[1].Read(t.Context()) // the link leads nowhere
	if len(told.Readings) != 1 || told.Readings[0].Fault != sensors.NoAnswer || told.Note == "" {
		t.Errorf("a probe that is gone: got %+v", told)
	}
}
