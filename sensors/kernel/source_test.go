package kernel_test

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/kernel"
	"nestmon/sensors/sourcetest"
)

// tree is a made-up /sys: chips stand below sys/devices and the classes link to them, as the kernel does it.
type tree struct {
	testing.TB
	root string
}

func newTree(t testing.TB) tree { return tree{t, t.TempDir()} }

func (t tree) must(err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func (t tree) at(path string) string { return filepath.Join(t.root, path) }

func (t tree) write(path, text string) {
	t.Helper()
	t.must(os.MkdirAll(filepath.Dir(t.at(path)), 0o755))
	t.must(os.WriteFile(t.at(path), []byte(text), 0o644))
}

func (t tree) link(target, path string) {
	t.Helper()
	t.must(os.MkdirAll(filepath.Dir(t.at(path)), 0o755))
	relative, err := filepath.Rel(filepath.Dir(t.at(path)), t.at(target))
	t.must(err)
	t.must(os.Symlink(relative, t.at(path)))
}

// hwmon puts a chip at an I2C address under a passing number.
func (t tree) hwmon(n, address, name string, files map[string]string) (dir string) {
	t.Helper()
	chip := "sys/devices/i2c-1/" + address
	dir = chip + "/hwmon/hwmon" + n
	t.write(dir+"/name", name+"\n")
	for file, text := range files {
		t.write(dir+"/"+file, text)
	}
	t.link(chip, dir+"/device")
	t.link(dir, "sys/class/hwmon/hwmon"+n)
	if _, err := os.Lstat(t.at("sys/bus/i2c/devices/" + address)); err != nil {
		t.link(chip, "sys/bus/i2c/devices/"+address)
	}
	return dir
}

func (t tree) iio(n, address, name string, files map[string]string) (dir string) {
	t.Helper()
	chip := "sys/devices/i2c-1/" + address
	dir = chip + "/iio:device" + n
	t.write(dir+"/name", name+"\n")
	for file, text := range files {
		t.write(dir+"/"+file, text)
	}
	t.link(dir, "sys/bus/iio/devices/iio:device"+n)
	t.link(chip, "sys/bus/i2c/devices/"+address)
	return dir
}

func (t tree) remove(n, address string) {
	t.Helper()
	t.must(os.RemoveAll(t.at("sys/class/hwmon/hwmon" + n)))
	t.must(os.RemoveAll(t.at("sys/devices/i2c-1/" + address)))
	t.must(os.RemoveAll(t.at("sys/bus/i2c/devices/" + address)))
}

var (
	air  = map[string]string{"temp1_input": "21450\n", "humidity1_input": "63120\n"}
	cold = map[string]string{"temp1_input": "-20000\n"}
)

func config(id, device string) kernel.ProbeConfig {
	return kernel.ProbeConfig{Entry: sensors.Entry{ID: id, Source: kernel.Kind}, Device: device}
}

func source(t tree, probes ...kernel.ProbeConfig) *kernel.Source {
	t.Helper()
	s, err := kernel.New(t.root, probes, 30*time.Second, slog.New(slog.DiscardHandler))
	t.must(err)
	return s
}

func TestConformance(t *testing.T) {
	sourcetest.Run(t, func(t *testing.T) sourcetest.Rig {
		tr := newTree(t)
		put := map[string]func(){
			"a1-air":  func() { tr.hwmon("0", "1-0044", "sht4x", air) },
			"outside": func() { tr.hwmon("1", "1-0045", "sht3x", air) },
			"tote":    func() { tr.hwmon("2", "1-0048", "tmp102", cold) },
		}
		for _, p := range put {
			p()
		}
		where := map[string][2]string{"a1-air": {"0", "1-0044"}, "outside": {"1", "1-0045"}, "tote": {"2", "1-0048"}}
		return sourcetest.Rig{
			Source: source(tr, config("a1-air", "sht4x"), config("outside", "/sys/bus/i2c/devices/1-0045"), config("tote", "tmp102")),
			Vanish: func(id string) { tr.remove(where[id][0], where[id][1]) },
			Return: func(id string) { put[id]() },
			Hang: func() func() {
				file := tr.at("sys/class/hwmon/hwmon1/temp1_input")
				tr.must(os.Remove(file))
				tr.must(syscall.Mkfifo(file, 0o644))
				return func() {
					f, err := os.OpenFile(file, os.O_WRONLY, 0)
					tr.must(err)
					tr.must(f.Close())
				}
			},
		}
	})
}

func TestValuesOfKnownDrivers(t *testing.T) {
	// Texts as measured with kernel 6.1 drivers on emulated chips, except sht4x, whose files are known from its documentation.
	for _, row := range []struct {
		name   string
		device string
		setup  func(t tree)
		want   []float64
	}{
		{"tmp102 in frost", "tmp102", func(t tree) { t.hwmon("4", "1-0048", "tmp102", cold) }, []float64{-20}},
		{"jc42", "jc42", func(t tree) { t.hwmon("0", "1-001a", "jc42", map[string]string{"temp1_input": "37500\n"}) }, []float64{37.5}},
		{"sht4x", "sht4x", func(t tree) { t.hwmon("0", "1-0044", "sht4x", air) }, []float64{21.45, 63.12}},
		{"bme280 in IIO", "bme280", func(t tree) {
			t.iio("0", "1-0076", "bme280", map[string]string{"in_temp_input": "25080\n", "in_humidityrelative_input": "49821\n", "in_pressure_input": "100.653253906\n"})
		}, []float64{25.08, 49.821}},
		{"bme280 by path", "/sys/bus/i2c/devices/1-0076", func(t tree) {
			t.iio("3", "1-0076", "bme280", map[string]string{"in_temp_input": "25080\n", "in_humidityrelative_input": "49821\n"})
		}, []float64{25.08, 49.821}},
		{"by path, with a battery gauge beside it", "/sys/bus/i2c/devices/1-0076", func(t tree) {
			t.iio("0", "1-0076", "bme280", map[string]string{"in_temp_input": "25080\n", "in_humidityrelative_input": "49821\n"})
			t.hwmon("0", "1-0076", "ina2xx", map[string]string{"in1_input": "12600\n"})
		}, []float64{25.08, 49.821}},
		{"hwmon by path", "/sys/bus/i2c/devices/1-0044", func(t tree) { t.hwmon("7", "1-0044", "sht3x", air) }, []float64{21.45, 63.12}},
	} {
		t.Run(row.name, func(t *testing.T) {
			tr := newTree(t)
			row.setup(tr)
			s := source(tr, config("a1", row.device))
			if found := s.Check(); found != nil {
				t.Errorf("check: %q", found)
			}
			var got []float64
			for _, r := range s.Read(t.Context()) {
				if !r.OK() {
					t.Fatalf("got %+v", r)
				}
				got = append(got, r.Value)
			}
			if !slices.Equal(got, row.want) {
				t.Errorf("got %v, want %v", got, row.want)
			}
		})
	}
}

func TestTextsThatAreNoMeasurement(t *testing.T) {
	for _, row := range []struct {
		name, text string
		fault      sensors.Fault
	}{
		{"errno EIO as text", "-5\n", sensors.Malformed},
		{"errno ENODEV as text", "-19\n", sensors.Malformed},
		{"empty", "", sensors.NoAnswer},
		{"blank", "\n", sensors.Malformed},
		{"nan", "nan\n", sensors.Malformed},
		{"words", "error\n", sensors.Malformed},
		{"hexadecimal", "0x10\n", sensors.Malformed},
		{"two numbers", "21450 21450\n", sensors.Malformed},
		{"zero is a measurement", "0\n", ""},
		{"frost is a measurement", "-62\n", ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			tr := newTree(t)
			tr.hwmon("0", "1-0048", "tmp102", map[string]string{"temp1_input": row.text})
			got := source(tr, config("a1", "tmp102")).Read(t.Context())
			if len(got) != 1 || got[0].Fault != row.fault {
				t.Errorf("got %+v, want fault %q", got, row.fault)
			}
		})
	}
}

func TestErrnoOfARead(t *testing.T) {
	for name, want := range map[string]sensors.Fault{"tmp102": sensors.NoAnswer, "w1_slave_temp": sensors.BadChecksum} {
		tr := newTree(t)
		dir := tr.hwmon("0", "1-0048", name, nil)
		tr.must(os.Symlink("/proc/self/mem", tr.at(dir+"/temp1_input"))) // reads as input/output error
		if got := source(tr, config("a1", name)).Read(t.Context()); got[0].Fault != want {
			t.Errorf("%s: got %+v, want %q", name, got, want)
		}
	}
}

func TestTheNumberOfADeviceMayChange(t *testing.T) {
	tr := newTree(t)
	tr.hwmon("0", "1-0044", "sht4x", air)
	tr.hwmon("1", "1-0048", "tmp102", cold)
	s := source(tr, config("a1", "sht4x"), config("b1", "/sys/bus/i2c/devices/1-0048"))
	before := s.Read(t.Context())
	tr.remove("0", "1-0044")
	tr.remove("1", "1-0048")
	tr.hwmon("0", "1-0048", "tmp102", cold)
	tr.hwmon("1", "1-0044", "sht4x", air)
	after := s.Read(t.Context())
	for i := range before {
		before[i].Time, after[i].Time = time.Time{}, time.Time{}
	}
	if !slices.Equal(before, after) || before[0].Value != 21.45 || before[2].Value != -20 {
		t.Errorf("got %+v, then %+v", before, after)
	}
}

func TestAnAmbiguousNameIsNeverGuessed(t *testing.T) {
	tr := newTree(t)
	tr.hwmon("0", "1-0044", "sht4x", air)
	tr.hwmon("1", "1-0045", "sht4x", air)
	s := source(tr, config("a1", "sht4x"))
	for _, r := range s.Read(t.Context()) {
		if r.Fault != sensors.WrongProbe {
			t.Errorf("got %+v, want a fault", r)
		}
	}
	want := `probe a1: "sht4x": name fits several devices; write the path of one of: /sys/devices/i2c-1/1-0044, /sys/devices/i2c-1/1-0045`
	if got := s.Check(); len(got) != 1 || got[0] != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got := source(tr, config("a1", "/sys/devices/i2c-1/1-0045")).Read(t.Context()); !got[0].OK() {
		t.Errorf("the path from the message cannot be used: %+v", got)
	}
}

func TestCheckSaysWhatToDo(t *testing.T) {
	empty := newTree(t)
	if got := source(empty, config("a1", "sht4x")).Check(); len(got) != 1 || !strings.Contains(got[0], "load the sensor's driver") {
		t.Errorf("without any class: got %q", got)
	}
	tr := newTree(t)
	tr.hwmon("0", "1-0044", "sht4x", map[string]string{"temp1_input": "1\n"})
	for _, row := range []struct {
		name   string
		probes []kernel.ProbeConfig
		want   string
	}{
		{"misspelt name", []kernel.ProbeConfig{config("a1", "sht4")}, `no driver is named "sht4": file does not exist; write one of: sht4x`},
		{"missing path", []kernel.ProbeConfig{config("a1", "/sys/bus/i2c/devices/1-0099")}, "check wiring and address"},
		{"file not shown", []kernel.ProbeConfig{config("a1", "sht4x")}, "driver sht4x shows no humidity"},
	} {
		t.Run(row.name, func(t *testing.T) {
			got := strings.Join(source(tr, row.probes...).Check(), "\n")
			if !strings.Contains(got, row.want) {
				t.Errorf("got %q, want %q in it", got, row.want)
			}
		})
	}
}

func TestNewRefuses(t *testing.T) {
	for _, row := range []struct {
		name  string
		alter func(c *kernel.ProbeConfig)
		want  string
	}{
		{"no device", func(c *kernel.ProbeConfig) { c.Device = "" }, "probe b1: device: is missing; write the driver's name"},
		{"bound twice", func(c *kernel.ProbeConfig) { c.Device = "jc42" }, "probe b1: device: jc42 is bound to a1 already"},
		{"passing number", func(c *kernel.ProbeConfig) { c.Device = "/sys/class/hwmon/hwmon3" }, `probe b1: device: "/sys/class/hwmon/hwmon3" holds a number that changes`},
		{"out of /sys", func(c *kernel.ProbeConfig) { c.Device = "/sys/../etc" }, `probe b1: device: "/sys/../etc" is not a device path`},
		{"unknown chip", func(c *kernel.ProbeConfig) { c.Chip = "abacus" }, `probe b1: chip: "abacus" is unknown; write one of: aht20, bme280, `},
		{"unknown quantity", func(c *kernel.ProbeConfig) { c.Quantities = []string{"pressure"} }, `probe b1: quantities: "pressure" is not a quantity`},
		{"a chip for batteries", func(c *kernel.ProbeConfig) { c.Chip = "ina219" }, "probe b1: chip: ina219 measures nothing that is read"},
		{"voltage", func(c *kernel.ProbeConfig) { c.Quantities = []string{"temperature", "voltage"} }, "probe b1: quantities: voltage cannot be read"},
		{"carbon dioxide", func(c *kernel.ProbeConfig) { c.Quantities = []string{"co2"} }, "probe b1: quantities: co2 cannot be read"},
	} {
		t.Run(row.name, func(t *testing.T) {
			probes := []kernel.ProbeConfig{config("a1", "jc42"), config("b1", "tmp102")}
			row.alter(&probes[1])
			_, err := kernel.New("/nowhere", probes, 30*time.Second, slog.New(slog.DiscardHandler))
			if err == nil || !strings.HasPrefix(err.Error(), row.want) {
				t.Errorf("got %v, want %s …", err, row.want)
			}
		})
	}
}

func TestWhatAProbeMeasures(t *testing.T) {
	both := []sensors.Quantity{sensors.Temperature, sensors.Humidity}
	one := both[:1]
	for _, row := range []struct {
		name   string
		config kernel.ProbeConfig
		want   []sensors.Quantity
		chip   string
	}{
		{"by the driver's name, absent", config("a1", "sht4x"), both, sensors.ChipSHT4x},
		{"by the chip", kernel.ProbeConfig{Entry: sensors.Entry{ID: "a1"}, Device: "/sys/bus/i2c/devices/1-0099", Chip: "sht45"}, both, sensors.ChipSHT4x},
		{"by what it shows", config("a1", "/sys/bus/i2c/devices/1-0044"), both, ""},
		{"nothing known", config("a1", "/sys/bus/i2c/devices/1-0099"), one, ""},
		{"as written", kernel.ProbeConfig{Entry: sensors.Entry{ID: "a1"}, Device: "sht4x", Quantities: []string{"temperature"}}, one, sensors.ChipSHT4x},
	} {
		t.Run(row.name, func(t *testing.T) {
			tr := newTree(t)
			tr.hwmon("0", "1-0044", "mystery", air)
			got := source(tr, row.config).Probes()[0]
			if !slices.Equal(got.Quantities, row.want) || got.Chip != row.chip {
				t.Errorf("got %v of chip %q, want %v of %q", got.Quantities, got.Chip, row.want, row.chip)
			}
		})
	}
}

func TestNothingIsReadAfterTheContextEnded(t *testing.T) {
	tr := newTree(t)
	tr.hwmon("0", "1-0044", "sht4x", air)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for _, r := range source(tr, config("a1", "sht4x")).Read(ctx) {
		if r.Fault != sensors.TimedOut {
			t.Errorf("got %+v, want timed-out", r)
		}
	}
}
