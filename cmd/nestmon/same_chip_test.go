package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// One chip by two names would be a nest whose cluster and air never differ: neither check nor run takes it.
func TestOneChipIsNotTwoProbes(t *testing.T) {
	w := &wall{T: t, root: t.TempDir()}
	w.chip("3", "1-0044", "sht4x", map[string]string{"temp1_input": "21450\n", "humidity1_input": "55100\n"})
	w.chip("4", "1-0045", "tmp102", map[string]string{"temp1_input": "22000\n"})
	const path = "{id: a, source: kernel, device: /sys/bus/i2c/devices/1-0044, chip: sht4x}"
	for _, row := range []struct {
		name, other string
		same        bool
	}{
		{"another path", "{id: b, source: kernel, device: /sys/devices/soc/i2c-1/1-0044, chip: sht4x}", true},
		{"the driver's name", "{id: b, source: kernel, device: sht4x}", true},
		{"read by nestmon too", "{id: b, source: i2c, bus: i2c-1, address: 0x44, chip: sht4x}", true},
		{"its neighbour", "{id: b, source: kernel, device: /sys/bus/i2c/devices/1-0045, chip: tmp102}", false},
		{"one that is not there", "{id: b, source: i2c, bus: i2c-1, address: 0x46, chip: sht4x}", false},
	} {
		t.Run(row.name, func(t *testing.T) {
			config := filepath.Join(t.TempDir(), "nestmon.yaml")
			text := fmt.Sprintf("data: %s\nprobes: [%s, %s]\nnests: [{id: oak, kind: wooden-box, cluster: a, air: b}]\n", t.TempDir(), path, row.other)
			if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			const want = "probe b: /sys/devices/soc/i2c-1/1-0044 is the chip that probe a reads; bind another"
			var out bytes.Buffer
			run(t.Context(), []string{"check", "--config", config, "--root", w.root}, stdio{out: &out, err: &out})
			if strings.Contains(out.String(), want) != row.same {
				t.Errorf("check says\n%s", out.String())
			}
			if !row.same {
				return
			}
			out.Reset()
			if code := run(t.Context(), []string{"run", "--config", config, "--root", w.root}, stdio{out: &out, err: &out}); code != exitWrongUse || !strings.Contains(out.String(), want) {
				t.Errorf("run: exit %d\n%s", code, out.String())
			}
		})
	}
}
