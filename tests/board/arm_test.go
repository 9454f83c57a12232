package board_test

import (
	"fmt"
	"math"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/tests/board/line"
)

// hostSeenFromGuest is the address by which a guest of QEMU's user network reaches this machine's loopback (QEMU's documentation,
// system/devices/net).
const (
	hostSeenFromGuest = "10.0.2.2"
	guestAddress      = "10.0.2.15"
)

// Chips of the ARM board, as the emulator names them.
const (
	pile, air, outside = "pile", "air", "outside" // read by drivers of the kernel
	mux                = 0x70                     // a multiplexer that nestmon switches
	first, fourth      = "first", "fourth"        // behind channels 0 and 3 of it
	kernelMux          = 0x71                     // a multiplexer that the kernel switches
	second, sixth      = "second", "sixth"        // behind channels 1 and 5 of it, each a bus of its own
	ownAddress         = 0x49                     // of the first two
	kernelAddress      = 0x48                     // of the others: no two channels that are open at once hold one address
)

// A pile of kits that cools, by Newton's law with the time constant that thresholds/chill_test.go gives a fast one, at a probe below it.
const (
	coldAir = 10000 // thousandths of a degree
	step    = 70    // more than what the chips resolve, a sixteenth of a degree: no real probe stands still
	warmFor = 30    // minutes, before it cools
	// longestChill bounds a failing test, in minutes of the board.
	longestChill = 900
)

func cooling(minute int) int {
	const warm, cold, tau, gain = 37.3, coldAir / 1000.0, 150.0, 0.85
	core := warm - (warm-cold)*(1-math.Exp(-float64(max(0, minute-warmFor))/tau))
	return coldAir + int(gain*(1000*core-coldAir)) + minute/2%2*step
}

func hex(address int) string { return fmt.Sprintf("%#x", address) }

// on is a chip behind a channel of a multiplexer, as the emulator takes it.
func on(mux string, channel, address int, id string) string {
	return fmt.Sprintf("tmp105,bus=i2c-bus.0/%s/i2c.%d,address=%#x,id=%s", mux, channel, address, id)
}

// bootARM starts an i.MX6 board with sensors on its first I2C bus and a network card.
func bootARM(t *testing.T) (*machine, *monitor) {
	k := findKit(t)
	kernel, tree, dtb := k.file(t, "armhf/vmlinuz"), k.file(t, "armhf/modules"), k.file(t, "armhf/imx6q-sabrelite.dtb")
	emulator := k.emulator(t, "qemu-system-arm")
	files := bundle{"init": build(t, guest, "arm", "7"), "nestmon": build(t, program, "arm", "7"), "nestmon6": build(t, program, "arm", "6")}
	files.addModules(t, tree, "i2c-dev", "i2c-imx", "i2c-mux-pca954x", "lm75", "tmp421", "gpio-mxc", "fec")
	dir := t.TempDir()
	socket, qmp := filepath.Join(dir, "line"), filepath.Join(dir, "qmp")
	// The kernel's tests of its own cryptography take most of its start. The driver of the serial line would move its bytes by a DMA engine that the emulator does not have: that engine's driver is left out.
	m := boot(t, k, emulator, socket,
		"-M", "sabrelite", "-smp", "1", "-m", "512", "-nodefaults", "-nographic", "-no-reboot", "-icount", ahead,
		"-kernel", kernel, "-dtb", dtb, "-initrd", files.pack(t),
		"-append", "console=ttymxc1 panic=-1 loglevel=4 cryptomgr.notests initcall_blacklist=sdma_driver_init fw_devlink=permissive "+environment("/dev/ttymxc0", guestAddress),
		"-serial", "unix:"+socket+",server=on,wait=off", "-serial", "stdio", "-qmp", "unix:"+qmp+",server=on,wait=off", "-nic", "user",
		"-device", "tmp105,bus=i2c-bus.0,address=0x4a,id="+air, "-device", "tmp105,bus=i2c-bus.0,address=0x4b,id="+outside,
		"-device", "tmp421,bus=i2c-bus.0,address=0x4c,id="+pile,
		"-device", "pca9548,bus=i2c-bus.0,address="+fmt.Sprint(mux)+",id=mux",
		"-device", "pca9548,bus=i2c-bus.0,address="+fmt.Sprint(kernelMux)+",id=kernelmux",
		"-device", on("mux", 0, ownAddress, first), "-device", on("mux", 3, ownAddress, fourth),
		"-device", on("kernelmux", 1, kernelAddress, second), "-device", on("kernelmux", 5, kernelAddress, sixth))
	return m, watchChips(t, m, qmp)
}

// TestARM warms and cools the chips of a board, and hears at its phone what the daemon there makes of it. Delays of alarms are the real
// ones, by the board's clock.
func TestARM(t *testing.T) {
	if os.Getenv("NESTMON_BOARD_LONG") != "1" {
		t.Skip("skipped: an emulated ARM board takes minutes of a processor; tests/board/run does it")
	}
	m, chips := bootARM(t)
	phone := listen(t)
	mild := func() {
		chips.warm(pile, "temperature0", 36500)
		chips.warm(air, "temperature", 21000)
		chips.warm(outside, "temperature", 12500)
	}
	mild()
	adapter := "/sys/class/i2c-adapter/i2c-0"
	for _, device := range []string{"tmp105 0x4a", "tmp105 0x4b", "tmp421 0x4c", "pca9548 " + hex(kernelMux)} {
		m.write(adapter+"/new_device", device)
	}
	m.call("Share", struct{}{}, &struct{}{})
	channel := func(n int) (bus int) {
		folder := m.find(fmt.Sprintf("/sys/bus/i2c/devices/0-%04x/channel-%d/i2c-dev/i2c-*", kernelMux, n))
		if _, err := fmt.Sscanf(filepath.Base(folder), "i2c-%d", &bus); err != nil {
			t.Fatal(err)
		}
		return bus
	}
	secondBus, sixthBus := channel(1), channel(5)
	// The emulator's chip is a TMP105, whose configuration is one byte. Where a TMP102 has the second it answers with the byte that was last on
	// the wire: after a temperature of any whole degrees and a quarter, 40, which a TMP102 has at one conversion a second. With others
	// it is a chip whose configuration changed.
	const whole = 0x60 // 12 bit, running
	for channel, chip := range map[uint8]string{0: first, 3: fourth} {
		chips.warm(chip, "temperature", map[string]int{first: 36250, fourth: -20750}[chip])
		m.call("Send", line.Bytes{Address: mux, Bytes: []byte{1 << channel}}, &struct{}{})
		m.call("Send", line.Bytes{Address: ownAddress, Bytes: []byte{1, whole}}, &struct{}{})
	}
	m.call("Send", line.Bytes{Address: mux, Bytes: []byte{0}}, &struct{}{})
	for bus, chip := range map[int]string{secondBus: second, sixthBus: sixth} {
		chips.warm(chip, "temperature", map[string]int{second: 33250, sixth: 21250}[chip])
		m.call("Send", line.Bytes{Bus: bus, Address: kernelAddress, Bytes: []byte{1, whole}}, &struct{}{})
	}
	m.write(configFile, fmt.Sprintf(`
site: {id: barn, name: Barn, timezone: UTC, display: celsius}
data: /tmp/data
poll: 30s
probes:
  - {id: oak-cluster, source: kernel, device: /sys/bus/i2c/devices/0-004c, quantities: [temperature]}
  - {id: oak-air, source: kernel, device: /sys/bus/i2c/devices/0-004a, chip: lm75}
  - {id: outside, source: kernel, device: /sys/bus/i2c/devices/0-004b, chip: lm75}
  - {id: elm-cluster, source: i2c, chip: tmp102, bus: i2c-0, mux: 0x70, channel: 0, address: 0x49}
  - {id: elm-air, source: i2c, chip: tmp102, bus: i2c-0, mux: 0x70, channel: 3, address: 0x49}
  - {id: elm-cage, source: i2c, chip: sht4x, bus: i2c-0, address: 0x44} # is not there
  - {id: ash-cluster, source: i2c, chip: tmp102, bus: i2c-%d, address: %#x}
  - {id: ash-air, source: i2c, chip: tmp102, bus: i2c-%d, address: %#x}
nests:
  - {id: oak, kind: wooden-box, cluster: oak-cluster, air: oak-air}
  - {id: elm, kind: wooden-box, cluster: elm-cluster, air: elm-air, cage: elm-cage}
  - {id: ash, kind: wooden-box, cluster: ash-cluster, air: ash-air}
outside: outside
phone: {channels: [{name: mobile, url: "http://%s:%d", at_least: notice}]}
`, secondBus, kernelAddress, sixthBus, kernelAddress, hostSeenFromGuest, phone.Listener.Addr().(*net.TCPAddr).Port))

	if got := m.run("/nestmon6", "check", "--config", configFile); got.Code != 0 {
		t.Errorf("check: exit %d\n%s%s", got.Code, got.Out, got.Err)
	}
	daemon := m.daemon("/nestmon")
	m.archived("oak-cluster,36.", "oak-air,21.00", "outside,12.50") // the emulated tmp421 is off by a sixteenth of a degree
	m.lap("first readings")

	m.part("chips that nestmon reads itself", func(t *testing.T) {
		m.archived("elm-cluster,36.25", "elm-air,-20.75")
		chips.warm(first, "temperature", 30250)
		m.archived("elm-cluster,30.25", "elm-air,-20.75")
		chips.warm(fourth, "temperature", -3750)
		m.archived("elm-cluster,30.25", "elm-air,-3.75")
		m.logged("probe=elm-cage quantity=temperature fault=timed-out")
		chips.warm(first, "temperature", 35000)
		m.logged("probe=elm-cluster quantity=temperature fault=settling")
		m.lap("own chips")
	})
	m.part("behind the kernel's multiplexer", func(*testing.T) {
		m.archived("ash-cluster,33.25", "ash-air,21.25", "elm-air,-3.75")
		chips.warm(second, "temperature", 31250)
		chips.warm(sixth, "temperature", 18250)
		m.archived("ash-cluster,31.25", "ash-air,18.25")
		m.lap("the kernel's channels")
	})
	m.part("heat", func(t *testing.T) {
		chips.warm(air, "temperature", 38000)
		phone.waitFor(m, "URGENT: nest oak: nest too hot, 38.0 °C")
		mild()
		phone.waitFor(m, "Over: nest oak: nest too hot")
		m.lap("heat")
	})
	m.part("chill", func(t *testing.T) {
		if got := m.run("/nestmon6", "litter", "kindled", "--config", configFile, "--nest", "oak", "--born", "7"); got.Code != 0 {
			t.Fatalf("litter: exit %d\n%s%s", got.Code, got.Out, got.Err)
		}
		for minute := 0; minute < longestChill && !phone.heard("URGENT: nest oak: kits too cold"); minute += 2 {
			chips.warm(pile, "temperature0", cooling(minute))
			chips.warm(air, "temperature", coldAir+minute/2%3*step)
			m.call("Sleep", 2*time.Minute, &struct{}{})
		}
		phone.waitFor(m, "URGENT: nest oak: kits too cold")
		m.lap("chill")
	})
	mild()
	m.part("a chip that is gone", func(t *testing.T) {
		m.write(adapter+"/delete_device", "0x4a")
		phone.waitFor(m, "WARNING: nest oak: no data")
		m.write(adapter+"/new_device", "tmp105 0x4a")
		phone.waitFor(m, "Over: nest oak: no data")
		m.lap("silence")
	})
	m.stop(daemon)
	// An address where nobody is takes this controller a third of a second. That is slow, and no line that hangs.
	m.part("nestmon probes", func(t *testing.T) {
		out := m.says("all is configured", []string{
			"31.25 °C (88.2 °F)  ash-cluster: nest ash, cluster", "18.25 °C (64.8 °F)  ash-air: nest ash, air",
			"elm-cluster: nest elm, cluster", "-3.75 °C (25.2 °F)  elm-air: nest elm, air", "elm-cage: nest elm, cage: not there",
			hex(kernelMux) + " is a multiplexer that the kernel switches", hex(mux) + " is a multiplexer that nestmon can switch",
		}, "probes", "--config", configFile)
		for _, never := range []string{"it hangs", "elm-cluster: nest elm, cluster: not there"} {
			if strings.Contains(out, never) {
				t.Errorf("%q is said:\n%s", never, out)
			}
		}
		m.lap("the list")
	})
	m.part("GOARM=6", func(t *testing.T) {
		chips.warm(outside, "temperature", -7500)
		daemon := m.daemon("/nestmon6")
		m.archived("outside,-7.50")
		m.stop(daemon)
		m.lap("the other build")
	})
}
