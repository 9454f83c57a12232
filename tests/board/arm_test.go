package board_test

import (
	"fmt"
	"net"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/tests/board/line"
)

// Chips of the ARM board, as the emulator names them.
const (
	pile, air, outside = "pile", "air", "outside"
)

// faster lets the board's clock run ahead of ours: each instruction counts 2^3 ns and idle time is skipped, so that an alarm that waits
// for 10 minutes waits for 10 minutes there and for a few seconds here.
const faster = "shift=3,sleep=off"

func bootARM(t *testing.T, arm string) (*machine, *monitor) {
	k := findKit(t)
	kernel, tree, dtb := k.file(t, "armhf/boot/vmlinuz-*"), k.file(t, "armhf/lib/modules/*/kernel"), k.file(t, "armhf/usr/lib/linux-image-*/imx6q-sabrelite.dtb")
	emulator := k.emulator(t, "qemu-system-arm")
	files := bundle{"init": build(t, "nestmon/tests/board/guest", "arm", "7"), "nestmon": build(t, "nestmon/cmd/nestmon", "arm", arm)}
	files.addModules(t, tree, "i2c-dev", "i2c-imx", "lm75", "tmp421", "gpio-mxc", "fec")
	dir := t.TempDir()
	socket, qmp := filepath.Join(dir, "line"), filepath.Join(dir, "qmp")
	// The driver of the serial line would move its bytes by a DMA engine that the emulator does not have, so that engine's driver is left out.
	m := boot(t, k, emulator, socket,
		"-M", "sabrelite", "-smp", "1", "-m", "512", "-nodefaults", "-nographic", "-no-reboot", "-icount", faster,
		"-kernel", kernel, "-dtb", dtb, "-initrd", files.pack(t),
		"-append", fmt.Sprintf("console=ttymxc1 panic=-1 loglevel=4 initcall_blacklist=sdma_driver_init fw_devlink=permissive %s=/dev/ttymxc0 %s=%d %s=10.0.2.15",
			line.DeviceVariable, line.TimeVariable, time.Now().Unix(), line.AddressVariable),
		"-serial", "unix:"+socket+",server=on,wait=off", "-serial", "stdio", "-qmp", "unix:"+qmp+",server=on,wait=off", "-nic", "user",
		"-device", "tmp105,bus=i2c-bus.0,address=0x4a,id="+air, "-device", "tmp105,bus=i2c-bus.0,address=0x4b,id="+outside,
		"-device", "tmp421,bus=i2c-bus.0,address=0x4c,id="+pile)
	return m, watchChips(t, qmp)
}

func TestARM(t *testing.T) {
	m, chips := bootARM(t, "7")
	phone := listen(t)
	chips.warm(pile, "temperature0", 36000)
	chips.warm(air, "temperature", 21000)
	chips.warm(outside, "temperature", 12000)
	for _, device := range []string{"tmp105 0x4a", "tmp105 0x4b", "tmp421 0x4c"} {
		m.write("/sys/class/i2c-adapter/i2c-0/new_device", device)
	}
	m.write("/tmp/nestmon.yaml", fmt.Sprintf(`
site: {id: barn, name: Barn, timezone: UTC, display: celsius}
data: /tmp/data
poll: 30s
probes:
  - {id: oak-cluster, source: kernel, device: /sys/bus/i2c/devices/0-004c, quantities: [temperature]}
  - {id: oak-air, source: kernel, device: /sys/bus/i2c/devices/0-004a, chip: lm75}
  - {id: outside, source: kernel, device: /sys/bus/i2c/devices/0-004b, chip: lm75}
nests:
  - {id: oak, kind: wooden-box, cluster: oak-cluster, air: oak-air}
outside: outside
phone: {channels: [{name: mobile, url: "http://%s:%d", at_least: notice}]}
`, hostSeenFromGuest, phone.Listener.Addr().(*net.TCPAddr).Port))
	t.Log(m.run("/nestmon", "check", "--config", "/tmp/nestmon.yaml"))
	b := time.Now()
	up := func() { t.Log(time.Since(b), m.read("/proc/uptime")) }
	up()
	var pid int
	m.call("Start", line.Program{Args: []string{"/nestmon", "run", "--config", "/tmp/nestmon.yaml"}, UID: nobody}, &pid)
	for range 4 {
		time.Sleep(3*time.Second)
		up()
		t.Log(m.run("/nestmon", "status", "--config", "/tmp/nestmon.yaml"))
	}
	chips.warm(air, "temperature", 38000)
	for range 6 {
		time.Sleep(2*time.Second)
		up()
		t.Log(m.run("/nestmon", "status", "--config", "/tmp/nestmon.yaml"))
		t.Log(phone.heard)
	}
	var out line.Outcome
	m.call("Stop", pid, &out)
	t.Log(out)
}

// hostSeenFromGuest is the address by which a guest of QEMU's user network reaches this machine's loopback (QEMU's documentation,
// system/devices/net).
const hostSeenFromGuest = "10.0.2.2"
var _ = strings.Contains
var _ = httptest.NewServer
