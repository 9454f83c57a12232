package board_test

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/tests/board/line"
)

// Chips of the kernel's I2C stub, by address.
const (
	tmp102, jc42, bme280, ds2482 = 0x48, 0x1a, 0x76, 0x19

	rom  = "28-00000a1b2c3d"
	poll = 5 * time.Second
)

func bootPC(t *testing.T) *machine {
	k := findKit(t)
	kernel, tree := k.file(t, "amd64/vmlinuz"), k.file(t, "amd64/modules")
	emulator := k.emulator(t, "qemu-system-x86_64")
	files := bundle{"init": build(t, guest, "amd64", ""), "nestmon": build(t, program, "amd64", "")}
	files.addModules(t, tree, "i2c-dev", fmt.Sprintf("i2c-stub chip_addr=%#x,%#x,%#x,%#x", tmp102, jc42, bme280, ds2482), "tmp102", "jc42", "bmp280-i2c", "ds2482", "w1_therm", "softdog")
	socket := filepath.Join(t.TempDir(), "line")
	return boot(t, k, emulator, socket,
		"-accel", "tcg", "-M", "q35", "-m", "512", "-smp", "1", "-nodefaults", "-nographic", "-no-reboot", "-icount", ahead,
		"-kernel", kernel, "-initrd", files.pack(t),
		"-append", "console=ttyS0 panic=-1 loglevel=4 cryptomgr.notests "+environment("/dev/ttyS1", ""),
		"-serial", "stdio", "-serial", "unix:"+socket+",server=on,wait=off")
}

// stub is the adapter of the kernel's I2C stub.
type stub struct {
	*machine
	bus int
}

// words fills registers of a chip that sends the high byte first.
func (s stub) words(address uint8, values map[uint8]uint16) {
	s.t.Helper()
	swapped := make(map[uint8]uint16, len(values))
	for register, value := range values {
		swapped[register] = value<<8 | value>>8
	}
	s.call("Put", line.Registers{Bus: s.bus, Address: address, Values: swapped, Words: true}, &struct{}{})
}

// bytes fills registers from first on.
func (s stub) bytes(address, first uint8, values ...uint8) {
	s.t.Helper()
	all := make(map[uint8]uint16, len(values))
	for i, value := range values {
		all[first+uint8(i)] = uint16(value)
	}
	s.call("Put", line.Registers{Bus: s.bus, Address: address, Values: all}, &struct{}{})
}

// bind lets a driver of the kernel find its chip.
func (s stub) bind(driver string, address uint8) {
	s.t.Helper()
	s.write(fmt.Sprintf("/sys/class/i2c-adapter/i2c-%d/new_device", s.bus), fmt.Sprintf("%s %#x", driver, address))
}

// bridge makes the 1-Wire bridge answer every status with one byte, and every read of the wire with another.
func (s stub) bridge(status, data uint8) {
	s.t.Helper()
	const readData = 0xe2 // the stub's register that the driver's reads of the wire come from, found by trying
	all := make([]uint8, 256)
	for i := range all {
		all[i] = status
	}
	all[readData] = data
	s.bytes(ds2482, 0, all...)
}

// little is 16-bit numbers with the low byte first.
func little(numbers ...int16) (all []uint8) {
	for _, n := range numbers {
		all = append(all, uint8(n), uint8(uint16(n)>>8))
	}
	return all
}

// fill makes the stub the chips, with values of the datasheets' examples where there are any.
func (s stub) fill() {
	s.words(tmp102, map[uint8]uint16{0: 0x2640, 1: 0x60a0, 2: 0x4b00, 3: 0x5000})
	s.words(jc42, map[uint8]uint16{0: 0x00ff, 1: 0, 5: 0xc258, 6: 0x0054, 7: 0x0400})
	s.bytes(bme280, 0xd0, 0x60)
	s.bytes(bme280, 0xf2, 0, 0, 0, 0)
	s.bytes(bme280, 0x88, little(27504, 26435, -1000)...)
	s.bytes(bme280, 0x8e, little(-29059 /* 36477 */, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000)...)
	s.bytes(bme280, 0xa1, 75)
	s.bytes(bme280, 0xe1, append(little(362), 0x00, 0x14, 0x0a, 0x00, 0x1e)...)
	const pressure, temperature, humidity = 415148, 519888, 30000
	s.bytes(bme280, 0xf7, pressure>>12, pressure>>4&0xff, pressure&0xf<<4, temperature>>12, temperature>>4&0xff, temperature&0xf<<4, humidity>>8, humidity&0xff)
	s.bridge(idle, 0xff)
	s.bind("tmp102", tmp102)
	s.bind("jc42", jc42)
	s.bind("bme280", bme280)
	s.bind("ds2482", ds2482)
}

// Status bytes of the DS2482 (its datasheet, status register): 08 logic level high, 10 reset done, 02 presence, 20 a single bit read as 1.
const (
	idle     = 0x18
	presence = 0x1a
)

// TestPC reads chips of the kernel's I2C stub through the kernel's drivers, by file and by nestmon, and a 1-Wire bus whose line fails in each
// way a line can. The stub knows SMBus only: it has no I2C_RDWR, which is all that periph asks with, so that chips nestmon drives itself and
// a bridge of its own are read on the ARM board and in process; and it gives one byte for every read of a 1-Wire line, so that no DS18B20
// can answer with a temperature here.
func TestPC(t *testing.T) {
	m := bootPC(t)
	s := stub{machine: m}
	if _, err := fmt.Sscanf(filepath.Base(m.find("/sys/class/i2c-adapter/i2c-*")), "i2c-%d", &s.bus); err != nil {
		t.Fatal(err)
	}
	s.fill()
	chip := func(address uint8) string { return fmt.Sprintf("/sys/bus/i2c/devices/%d-%04x", s.bus, address) }
	m.part("what the kernel makes of registers", func(t *testing.T) {
		for _, row := range []struct{ file, want, source string }{
			{chip(tmp102) + "/hwmon/hwmon*/temp1_input", "76500", "computed: the driver sets 13 bit, so that 2640 is 1224 sixteenths"},
			{chip(jc42) + "/hwmon/hwmon*/temp1_input", "37500", "computed: 600 sixteenths; the three upper bits are alarms (Microchip DS25095A)"},
			{chip(bme280) + "/iio:device*/in_temp_input", "25080", "the datasheet's example, from memory"},
			{chip(bme280) + "/iio:device*/in_humidityrelative_input", "49821", "measured on kernel 6.1.176"},
			{chip(bme280) + "/iio:device*/in_pressure_input", "100.653253906", "the datasheet's example, from memory"},
		} {
			var got string // tmp102 has none before its first conversion: EAGAIN
			file := m.find(row.file)
			m.eventually(func() bool { got = m.read(file); return got != "resource temporarily unavailable" }, func() string { return file + " is never ready" })
			if got != row.want {
				t.Errorf("%s: got %q, want %s (%s)", row.file, got, row.want, row.source)
			}
		}
	})
	s.bridge(presence, 0xff)
	master := m.find("/sys/bus/w1/devices/w1_bus_master*")
	m.write(master+"/w1_master_search", "0") // which would take the probe off the list in the 100 s, there, that may pass here at any moment
	m.write(master+"/w1_master_add", rom)
	wire := m.find("/sys/bus/w1/devices/" + rom)
	m.find(wire + "/w1_slave")
	m.find(wire + "/hwmon/hwmon*/temp1_input")
	m.read(wire + "/resolution") // while all bits are one the driver falls back to 12 bit

	m.write(configFile, fmt.Sprintf(`
site: {id: barn, name: Barn, timezone: UTC, display: celsius}
data: /tmp/data
poll: %v
probes:
  - {id: oak-cluster, source: w1, rom: %s}
  - {id: oak-air, source: kernel, device: tmp102}
  - {id: elm-cluster, source: kernel, device: jc42}
  - {id: elm-air, source: kernel, device: %s, chip: bme280}
  - {id: elm-cage, source: i2c, chip: sht4x, bus: i2c-%d, address: 0x44}
nests:
  - {id: oak, kind: wooden-box, cluster: oak-cluster, air: oak-air}
  - {id: elm, kind: wooden-box, cluster: elm-cluster, air: elm-air, cage: elm-cage}
`, poll, rom, chip(bme280), s.bus))
	if got := m.run("/nestmon", "check", "--config", configFile); strings.Contains(got.Out, "missing") {
		t.Errorf("check misses something:\n%s%s", got.Out, got.Err)
	}
	daemon := m.daemon("/nestmon")
	m.part("what nestmon makes of it", func(t *testing.T) {
		m.archived("elm-cluster,37.50", "elm-air,25.08,49.82")
		s.words(tmp102, map[uint8]uint16{0: 0xf600})
		m.archived("oak-air,-20.00")
	})
	m.lap("values")
	for _, row := range []struct {
		name         string
		status, data uint8
		slave, hwmon string // what the kernel's files hold then
		fault        string
	}{
		{"nothing drives the line", presence, 0xff, "", "input/output error", "no-answer"},
		{"the line is held low", presence, 0, "00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0", "0", "stuck-low"},
		{"nobody is present", idle, 0, "", "no such device", "no-answer"},
	} {
		m.part(row.name, func(t *testing.T) {
			s.bridge(row.status, row.data)
			if got := m.read(wire + "/w1_slave"); got != row.slave {
				t.Errorf("w1_slave: got %q, want %q", got, row.slave)
			}
			if got := m.read(m.find(wire + "/hwmon/hwmon*/temp1_input")); !strings.Contains(got, row.hwmon) {
				t.Errorf("hwmon: got %q, want %q", got, row.hwmon)
			}
			m.logged("probe=oak-cluster quantity=temperature fault=" + row.fault)
			m.lap(row.name)
		})
	}
	if log := m.read(logFile); !strings.Contains(log, "probe=elm-cage quantity=temperature fault=bus-down") {
		t.Errorf("nothing is told of the bus that knows only SMBus:\n%s", log)
	}
	m.part("a signal into a conversion", func(*testing.T) {
		s.signals(wire, daemon)
		m.lap("signals")
	})
	m.stop(daemon)
	out := m.run("/nestmon", "export", "--config", configFile)
	for _, never := range []string{"oak-cluster", "oak-air,76.5", "elm-cage"} {
		if strings.Contains(out.Out, ","+never) {
			t.Errorf("%s came into the archive, and cannot be true:\n%s", never, out.Out)
		}
	}
	m.part("nestmon probes", func(*testing.T) {
		values := []string{
			"37.50 °C (99.5 °F)", "-20.00 °C (-4.0 °F)", "25.08 °C (77.1 °F), 49.8 %",
			"all bytes are zero: the data line is held low", "the kernel's drivers have 0x19 (ds2482), 0x1a (jc42), 0x48 (tmp102), 0x76 (bmp280): not asked here",
		}
		s.bridge(presence, 0)
		s.says("nothing is configured", append(values, "device: "+chip(bme280)+", chip: bme280", "source: w1, rom: "+rom), "probes")
		s.says("all is configured", append(values, "oak-cluster: nest oak, cluster", "elm-air: nest elm, air", "elm-cage: nest elm, cage: not there"), "probes", "--config", configFile)
	})
	m.part("a bulk read", func(*testing.T) { s.bulk(master, wire) })
	m.part("over netlink, without privileges", func(*testing.T) { s.netlink() })
	m.part("the kernel's watchdog", m.softdog)
	m.lap("the end")
}
