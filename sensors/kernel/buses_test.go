package kernel_test

import (
	"strings"
	"testing"

	"nestmon/sensors"
	"nestmon/sensors/kernel"
)

func TestFindListsWhatDriversShow(t *testing.T) {
	empty := newTree(t)
	if got := kernel.Buses(empty.root).Find(t.Context(), nil); len(got) != 1 || !strings.Contains(got[0].Problem, "load the sensor's driver") {
		t.Errorf("a bare machine: got %+v", got)
	}
	tr := newTree(t)
	tr.hwmon("0", "1-0044", "sht4x", air)
	tr.hwmon("1", "1-0049", "mystery", cold)
	tr.hwmon("2", "28-000000000001", "w1_slave_temp", cold) // read by sensors/w1
	tr.write("sys/class/hwmon/hwmon3/name", "cpu_thermal\n")
	tr.write("sys/class/hwmon/hwmon3/temp1_input", "48312\n")
	tr.write("sys/class/hwmon/hwmon4/name", "rpi_volt\n") // shows no temperature
	by := map[string]sensors.Found{}
	for _, b := range kernel.Buses(tr.root).Find(t.Context(), nil) {
		for _, p := range b.Probes {
			by[b.Bus+" "+p.Identity] = p
		}
	}
	if len(by) != 3 {
		t.Errorf("got %d: %+v", len(by), by)
	}
	for _, row := range []struct{ at, chip, binds, note string }{
		{"i2c-1 /sys/devices/i2c-1/1-0044", "sht4x", "source: kernel, device: /sys/bus/i2c/devices/1-0044, chip: sht4x", ""},
		{"i2c-1 /sys/devices/i2c-1/1-0049", "", "source: kernel, device: /sys/bus/i2c/devices/1-0049", "mystery is not one nestmon knows"},
		{"kernel-hwmon3 /sys/class/hwmon/hwmon3", "", "", "the board's own thermometer"},
	} {
		p, there := by[row.at]
		if !there || p.Chip != row.chip || p.Binds != row.binds || !strings.Contains(p.Note, row.note) || (row.note == "") != (p.Note == "") {
			t.Errorf("%s: got %+v", row.at, p)
		}
	}
	if r := by["i2c-1 /sys/devices/i2c-1/1-0044"].Read(t.Context()).Readings; len(r) != 2 || r[0].Value != 21.45 || r[1].Value != 63.12 {
		t.Errorf("got %+v", r)
	}
	for _, name := range []string{"sht4x", "/sys/bus/i2c/devices/1-0044"} {
		if got := kernel.Identity(tr.root, name); got != "/sys/devices/i2c-1/1-0044" {
			t.Errorf("%s is %s", name, got)
		}
	}
	if got := kernel.Identity(tr.root, "jc42"); got != "jc42" {
		t.Errorf("what is not there is %s", got)
	}
}
