package board_test

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"nestmon/tests/board/line"
)

func bootPC(t *testing.T) *machine {
	k := findKit(t)
	kernel, tree := k.file(t, "amd64/boot/vmlinuz-*"), k.file(t, "amd64/lib/modules/*/kernel")
	emulator := k.emulator(t, "qemu-system-x86_64")
	files := bundle{"init": build(t, "nestmon/tests/board/guest", "amd64", ""), "nestmon": build(t, "nestmon/cmd/nestmon", "amd64", "")}
	files.addModules(t, tree, "i2c-dev", "i2c-stub chip_addr=0x48,0x1a,0x76,0x19", "tmp102", "jc42", "bmp280-i2c", "ds2482", "w1_therm")
	socket := filepath.Join(t.TempDir(), "line")
	args := []string{
		"-accel", "tcg", "-M", "q35", "-m", "512", "-smp", "1", "-nodefaults", "-nographic", "-no-reboot",
		"-kernel", kernel, "-initrd", files.pack(t),
		"-append", fmt.Sprintf("console=ttyS0 panic=-1 quiet loglevel=4 %s=/dev/ttyS1 %s=%d", line.DeviceVariable, line.TimeVariable, time.Now().Unix()),
		"-serial", "stdio", "-serial", "unix:" + socket + ",server=on,wait=off",
	}
	return boot(t, k, emulator, socket, args...)
}

func TestPC(t *testing.T) {
	m := bootPC(t)
	t.Log(m.find("/sys/class/i2c-adapter/i2c-*"))
	t.Log(m.run("/nestmon", "version"))
}
