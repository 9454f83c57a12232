package i2c

import (
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// tree is a made-up board with two buses. Its folders are those of the kernel's ABI documents (sysfs-bus-i2c, i2c-topology).
func tree(t *testing.T) (root string) {
	t.Helper()
	root = t.TempDir()
	for _, dir := range []string{"dev", "sys/bus/i2c/devices/1-0044", "sys/bus/i2c/devices/1-0070", "sys/bus/i2c/devices/1-0045"} {
		must(t, os.MkdirAll(filepath.Join(root, dir), 0o755))
	}
	for _, dev := range []string{"i2c-1", "i2c-7"} {
		must(t, os.WriteFile(filepath.Join(root, "dev", dev), nil, 0o600))
	}
	return root
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func TestCheck(t *testing.T) {
	link := func(to, at string) func(root string) error {
		return func(root string) error { return os.Symlink(to, filepath.Join(root, "sys/bus/i2c/devices", at)) }
	}
	for _, row := range []struct {
		name  string
		alter []func(root string) error
		probe ProbeConfig
		want  []string // ROOT stands for the tree
	}{
		{"all is well", nil, config("a", 0x44), nil},
		{"no buses", []func(root string) error{func(root string) error { return os.RemoveAll(filepath.Join(root, "dev")) }}, config("a", 0x44), []string{
			"bus i2c-1: ROOT/dev/i2c-1 is not there, and no other bus is; switch I2C on (on a Raspberry Pi: dtparam=i2c_arm=on in config.txt, then restart the board) and load the module i2c-dev",
		}},
		{"another bus", []func(root string) error{func(root string) error { return os.Remove(filepath.Join(root, "dev/i2c-1")) }}, config("a", 0x44), []string{
			"bus i2c-1: ROOT/dev/i2c-1 is not there; there are i2c-7",
		}},
		{"the kernel has the chip", []func(root string) error{link("../../drivers/sht4x", "1-0044/driver")}, config("a", 0x44), []string{
			"probe a: the kernel's driver sht4x has the chip at i2c-1 0x44; two that use it spoil each other's readings: write source: kernel and device: /sys/bus/i2c/devices/1-0044, or take the driver off it",
		}},
		{"the kernel switches", []func(root string) error{link("../../drivers/pca954x", "1-0070/driver")}, behind(config("a", 0x44), 0x70, 3), []string{
			"probe a: the kernel's driver pca954x switches the multiplexer 0x70 of i2c-1; write the bus of its channel in place of mux and channel: ls -l /sys/bus/i2c/devices/1-0070/channel-*",
		}},
		{"the kernel switches, and says what to write", []func(root string) error{link("../../drivers/pca954x", "1-0070/driver"), link("../i2c-14", "1-0070/channel-3")}, behind(config("a", 0x44), 0x70, 3), []string{
			"probe a: the kernel's driver pca954x switches the multiplexer 0x70 of i2c-1; write bus: i2c-14 in place of mux and channel",
		}},
	} {
		t.Run(row.name, func(t *testing.T) {
			root := tree(t)
			for _, alter := range row.alter {
				must(t, alter(root))
			}
			s, err := New(root, []ProbeConfig{row.probe}, time.Minute, slog.New(slog.DiscardHandler))
			must(t, err)
			for i := range row.want {
				row.want[i] = strings.ReplaceAll(row.want[i], "ROOT", root)
			}
			if got := s.Check(); !slices.Equal(got, row.want) {
				t.Errorf("got %q, want %q", got, row.want)
			}
		})
	}
}
