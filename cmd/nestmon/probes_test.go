package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/onewire"

	"nestmon/sensors"
	"nestmon/sensors/offsets"
)

// wall is an invented /sys with 1-Wire probes, a chip on I2C and the board's own thermometer.
type wall struct {
	*testing.T
	root string
	out  said
	errs said
}

// said is what a command printed so far.
type said struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (s *said) Write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.Write(b)
}

func (s *said) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.String()
}

func newWall(t *testing.T) *wall { return &wall{T: t, root: t.TempDir()} }

// slave writes w1_slave as the kernel does. bytes 5 and 7 are the chip's fixed ones: ff and 10 of a genuine one (data sheet, memory map).
func (w *wall) slave(master, rom string, celsius float64, byte7 byte) {
	w.Helper()
	folder := filepath.Join(w.root, "sys/devices", master, rom)
	if _, err := os.Stat(folder); err != nil {
		hang(w.T, w.root, master, rom)
		w.folder("sys/bus/w1/devices/" + master)
	}
	raw := uint16(int16(math.Round(celsius * 16)))
	pad := []byte{byte(raw), byte(raw >> 8), 0x4b, 0x46, 0x7f, 0xff, 0x0c, byte7}
	pad = append(pad, onewire.CalcCRC(pad))
	line := strings.TrimSpace(fmt.Sprintf("% x", pad))
	w.write("sys/devices/"+master+"/"+rom+"/w1_slave", fmt.Sprintf("%s : crc=%02x YES\n%s t=%d\n", line, pad[8], line, int(celsius*1000)))
}

func (w *wall) write(path, text string) {
	w.Helper()
	full := filepath.Join(w.root, path)
	if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
		w.Fatal(err)
	}
	if err := os.WriteFile(full, []byte(text), 0o600); err != nil {
		w.Fatal(err)
	}
}

func (w *wall) folder(path string) {
	w.Helper()
	if err := os.MkdirAll(filepath.Join(w.root, path), 0o755); err != nil {
		w.Fatal(err)
	}
}

func (w *wall) link(target, path string) {
	w.Helper()
	full := filepath.Join(w.root, path)
	if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
		w.Fatal(err)
	}
	if err := os.Symlink(filepath.Join(w.root, target), full); err != nil {
		w.Fatal(err)
	}
}

// chip puts a driver's device on an I2C bus, and shows it as hwmon.
func (w *wall) chip(n, at, name string, files map[string]string) {
	dir := "sys/devices/soc/i2c-1/" + at
	for file, text := range files {
		w.write(dir+"/hwmon/hwmon"+n+"/"+file, text)
	}
	w.write(dir+"/hwmon/hwmon"+n+"/name", name+"\n")
	w.link(dir, dir+"/hwmon/hwmon"+n+"/device")
	w.link(dir+"/hwmon/hwmon"+n, "sys/class/hwmon/hwmon"+n)
	w.link(dir, "sys/bus/i2c/devices/"+at)
}

// barn fills the wall: two bound probes, a free one, a clone, one whose line is held down, noise, a chip, and the board's own thermometer.
func (w *wall) barn() {
	w.slave("w1_bus_master1", "28-000000000001", 21.5, 0x10)
	w.slave("w1_bus_master1", "28-000000000002", -3.0625, 0x10)
	w.slave("w1_bus_master1", "28-000000000003", 20, 0x66)
	hang(w.T, w.root, "w1_bus_master1", "28-000000000004")
	w.write("sys/devices/w1_bus_master1/28-000000000004/w1_slave", "00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n")
	hang(w.T, w.root, "w1_bus_master1", "00-800000000000")
	w.folder("sys/bus/w1/devices/w1_bus_master2")
	w.chip("1", "1-0044", "sht4x", map[string]string{"temp1_input": "12340\n", "humidity1_input": "81200\n"})
	w.write("sys/class/hwmon/hwmon0/name", "cpu_thermal\n")
	w.write("sys/class/hwmon/hwmon0/temp1_input", "48312\n")
}

const barnConfig = `
site: {id: shed, name: Shed, display: fahrenheit}
data: DATA
probes:
  - {id: a1-cluster, source: w1, rom: 28-000000000001}
  - {id: a1-air, source: kernel, device: sht4x}
  - {id: b1-air, source: w1, rom: 28-000000000099}
  - {id: outside, source: w1, rom: 28-000000000002, offset: {temperature: 0.25, date: 2026-11-02, method: ice-point}}
nests:
  - {id: a1, kind: wooden-box, cluster: a1-cluster, air: a1-air}
  - {id: b1, kind: wooden-box, air: b1-air}
outside: outside
`

func (w *wall) config(text string) (file string) {
	w.Helper()
	data := filepath.Join(w.root, "data")
	if err := os.MkdirAll(data, 0o755); err != nil {
		w.Fatal(err)
	}
	file = filepath.Join(w.root, "nestmon.yaml")
	w.write("nestmon.yaml", strings.ReplaceAll(text, "DATA", data))
	return file
}

func (w *wall) bench(file string) *bench {
	w.Helper()
	b := &bench{root: w.root, file: file, std: stdio{nil, &w.out, &w.errs}, now: time.Now, sleep: pause}
	if err := b.configure(file != ""); err != nil {
		w.Fatal(err)
	}
	return b
}

var rises = regexp.MustCompile(`\+[0-9.]+ °C \(\+[0-9.]+ °F\)`)

// golden compares what was printed, its machine's folder taken out, with testdata/probes/name.
func (w *wall) golden(name string) {
	w.Helper()
	got := strings.ReplaceAll("standard output\n"+w.out.String()+"standard error\n"+w.errs.String(), w.root, "ROOT")
	got = rises.ReplaceAllString(got, "+N °C (+N °F)") // how far it rose when it was named depends on who ran first
	file := filepath.Join("testdata/probes", name)
	if *update {
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			w.Fatal(err)
		}
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			w.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		w.Fatal(err)
	}
	if got != string(want) {
		w.Errorf("%s: got:\n%s\nwant:\n%s", name, got, want)
	}
}

func TestProbesLists(t *testing.T) {
	t.Run("a bare machine", func(t *testing.T) {
		w := newWall(t)
		if code := w.bench("").list(t.Context()); code != exitFinding {
			t.Errorf("exit %d", code)
		}
		w.golden("bare.txt")
	})
	t.Run("without a configuration", func(t *testing.T) {
		w := newWall(t)
		w.barn()
		if code := w.bench("").list(t.Context()); code != exitDone {
			t.Errorf("exit %d", code)
		}
		w.golden("free.txt")
	})
	t.Run("with one", func(t *testing.T) {
		w := newWall(t)
		w.barn()
		if code := w.bench(w.config(barnConfig)).list(t.Context()); code != exitFinding { // b1-air is missing
			t.Errorf("exit %d", code)
		}
		w.golden("bound.txt")
	})
	t.Run("with one half written", func(t *testing.T) {
		w := newWall(t)
		w.slave("w1_bus_master1", "28-000000000001", 21.5, 0x10)
		if code := w.bench(w.config("site: {id: shed}\nprobes:\n")).list(t.Context()); code != exitDone || !strings.Contains(w.out.String(), "free: source: w1, rom: 28-000000000001") {
			t.Errorf("exit %d:\n%s%s", code, w.out.String(), w.errs.String())
		}
	})
}

func TestProbesListsJSON(t *testing.T) {
	w := newWall(t)
	w.barn()
	b := w.bench(w.config(barnConfig))
	b.json = true
	b.list(t.Context())
	var got survey
	if err := json.Unmarshal([]byte(w.out.String()), &got); err != nil {
		t.Fatalf("%v in %s", err, w.out.String())
	}
	p := got.Buses[0].Probes[2]
	if got.Buses[0].Bus != "w1-1" || p.Identity != "28-000000000002" || p.Place.Probe != "outside" || *p.Values[0].Value != -2.81 { // -3.0625 is -3.06, and 0.25 more
		t.Errorf("got %+v", p)
	}
	if len(got.Missing) != 1 || got.Missing[0].Probe != "b1-air" || got.Missing[0].Nest != "b1" {
		t.Errorf("missing: %+v", got.Missing)
	}
}

// A bus that hangs is said to hang, and its other probes are not asked.
func TestProbesListsABusThatHangs(t *testing.T) {
	w := newWall(t)
	hang(t, w.root, "w1_bus_master1", "28-000000000001")
	file := filepath.Join(w.root, "sys/devices/w1_bus_master1/28-000000000001/w1_slave")
	if err := syscall.Mkfifo(file, 0o600); err != nil {
		t.Fatal(err)
	}
	w.slave("w1_bus_master2", "28-000000000002", 20, 0x10)
	w.bench("").list(t.Context())
	if out := w.out.String(); !strings.Contains(out, "timed-out") || !strings.Contains(out, "its bus hangs") || !strings.Contains(out, "20.00 °C") {
		t.Errorf("got:\n%s", out)
	}
	if f, err := os.OpenFile(file, os.O_WRONLY, 0); err == nil { // let it go
		_ = f.Close()
	}
}

// What the daemon knows is taken from it, and no probe it reads is read a second time.
func TestProbesAsksTheDaemon(t *testing.T) {
	w := newWall(t)
	w.barn()
	b := w.bench(w.config(barnConfig))
	value, errors := 30.5, 0.071
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	d := &daemonView{Probes: []probeHealth{{
		Probe: "a1-cluster", Reads: 400, Rejected: map[sensors.Fault]uint64{sensors.BadChecksum: 28}, LastGood: &now, Errors: &errors,
		Values: []surveyMeasured{{Quantity: "temperature", Unit: "C", Value: &value}}, Doubts: []string{"failing"},
	}}}
	s := find(t.Context(), w.root, b.cfg, d)
	asked := 0
	for i := range s.Buses {
		for k := range s.Buses[i].Probes {
			if p := &s.Buses[i].Probes[k]; p.Health != nil {
				p.found.Read = func(context.Context) sensors.Told { asked++; return sensors.Told{} }
			}
		}
	}
	s.read(t.Context())
	if err := s.write(&w.out, b.cfg); err != nil {
		t.Fatal(err)
	}
	if want := "86.9 °F (30.50 °C)"; asked != 0 || !strings.Contains(w.out.String(), want) || !strings.Contains(w.out.String(), "misses 7.1 %, bad-checksum 28, IN DOUBT: failing") {
		t.Errorf("asked %d times:\n%s", asked, w.out.String())
	}
}

// A hand closes round one probe of three; its warmth is that of a steel tip in a hand as simulated in sensors/warmed.
func TestIdentifyNamesTheWarmedProbe(t *testing.T) {
	for _, row := range []struct {
		name, golden string
		held         map[string]bool
		until        string
	}{
		{"a free one", "identify-free.txt", map[string]bool{"28-000000000003": true}, "Ctrl-C ends"},
		{"a bound one", "identify-bound.txt", map[string]bool{"28-000000000001": true}, "Ctrl-C ends"},
		{"two", "identify-two.txt", map[string]bool{"28-000000000001": true, "28-000000000002": true}, "hold one alone"},
		{"none", "identify-none.txt", nil, "Nothing rises"},
	} {
		t.Run(row.name, func(t *testing.T) {
			w := newWall(t)
			roms := []string{"28-000000000001", "28-000000000002", "28-000000000003"}
			for _, rom := range roms {
				w.slave("w1_bus_master1", rom, 12, 0x10)
			}
			file := w.config(strings.ReplaceAll(strings.Replace(barnConfig, "  - {id: a1-air, source: kernel, device: sht4x}\n", "", 1), ", air: a1-air", ""))
			synctest.Test(t, func(t *testing.T) {
				b := w.bench(file)
				ctx, end := context.WithCancel(t.Context())
				done := make(chan int)
				go func() { done <- b.identify(ctx) }()
				gripped := time.Time{}
				for range 4 * 600 {
					time.Sleep(250 * time.Millisecond)
					synctest.Wait()
					said := w.out.String()
					if gripped.IsZero() && strings.Contains(said, "hold it") {
						gripped = time.Now()
					}
					if strings.Contains(said, row.until) {
						break
					}
					for rom := range row.held {
						if !gripped.IsZero() {
							w.slave("w1_bus_master1", rom, 12+20*(1-math.Exp(-time.Since(gripped).Seconds()/30)), 0x10)
						}
					}
				}
				end()
				if code := <-done; code != exitDone {
					t.Errorf("exit %d", code)
				}
			})
			w.golden(row.golden)
		})
	}
}

// A kind of bus that nothing configured hangs on is no matter, and not told where probes are watched.
func TestABusNobodyUsesIsNoMatter(t *testing.T) {
	w := newWall(t)
	w.slave("w1_bus_master1", "28-000000000001", 5, 0x10)
	w.bench(w.config(iceConfig)).list(t.Context())
	if out := w.out.String(); !strings.Contains(out, "bus kernel\n  nothing, and no matter unless you use one: neither ") {
		t.Errorf("w1 alone:\n%s", out)
	}
	used := newWall(t)
	used.bench(used.config(strings.Replace(iceConfig, "source: w1, rom: 28-000000000001", "source: kernel, device: sht4x", 1))).list(t.Context())
	if out := used.out.String(); !strings.Contains(out, "bus kernel\n  nothing: neither ") {
		t.Errorf("with a kernel driver:\n%s", out)
	}
}

// ice is a bench on a clock of its own, whose probe reads what course says after so many seconds; NaN is a line held down.
func (w *wall) ice(file string, course func(s float64) float64) *bench {
	b := w.bench(file)
	begin := time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC)
	now := begin
	set := func() {
		v := course(now.Sub(begin).Seconds())
		if math.IsNaN(v) {
			w.write("sys/devices/w1_bus_master1/28-000000000001/w1_slave", "00 00 00 00 00 00 00 00 00 : crc=00 YES\n")
			return
		}
		w.slave("w1_bus_master1", "28-000000000001", v, 0x10)
	}
	w.slave("w1_bus_master1", "28-000000000001", 20, 0x10)
	set()
	b.now = func() time.Time { return now }
	b.sleep = func(_ context.Context, d time.Duration) { now = now.Add(d); set() }
	return b
}

// dipped is a probe that falls from 20 °C to what it reads in ice with a steel tip's time constant in stirred water, 20 s (assumed).
func dipped(reads float64) func(s float64) float64 {
	return func(s float64) float64 { return reads + (20-reads)*math.Exp(-s/20) }
}

const iceConfig = `
site: {id: shed}
data: DATA
probes:
  - {id: a1-air, source: w1, rom: 28-000000000001}
nests: [{id: a1, kind: wooden-box, air: a1-air}]
`

func TestIcePoint(t *testing.T) {
	long(t)
	for _, row := range []struct {
		name   string
		course func(s float64) float64
		code   int
		want   string  // in what is said
		offset float64 // stored, where code is 0
	}{
		{"a usual probe", dipped(0.3125), exitDone, "Its offset is -0.31 °C (-0.56 °F)", -0.31},
		{"a clone far off", dipped(-2.75), exitDone, "Its offset is +2.75 °C", 2.75},
		{"nothing is off", dipped(0), exitDone, "Its offset is +0.00 °C", 0},
		{"too far off to be corrected", dipped(3.5), exitFinding, "more than 3 °C from 0", 0},
		{"on the table", func(float64) float64 { return 20 }, exitFinding, "it is not in the ice", 0},
		{"waits beside the ice", func(s float64) float64 { return dipped(5.3125)(s) }, exitFinding, "1740 s  5.31 °C (41.6 °F)  not in the ice yet: more than 3 °C off", 0},
		{"the ice is gone", func(s float64) float64 { return dipped(0)(s) + s/60*0.05 }, exitFinding, "it moves by +0.05 °C a minute", 0},
		{"pulled up and down", func(s float64) float64 { return dipped(0)(s) + math.Mod(math.Floor(s/20), 2)/2 }, exitFinding, "°C between its readings", 0},
		{"the line is held down", func(float64) float64 { return math.NaN() }, exitFinding, "no value (stuck-low)", 0},
		{"power-on code", func(float64) float64 { return 85 }, exitFinding, "no value (not-converted)", 0},
		{"fails now and then, then lasts", func(s float64) float64 {
			if s < 300 && math.Mod(s, 60) == 0 && s > 0 {
				return math.NaN()
			}
			return dipped(0.25)(s)
		}, exitDone, "Its offset is -0.25 °C", -0.25},
	} {
		t.Run(row.name, func(t *testing.T) {
			w := newWall(t)
			b := w.ice(w.config(iceConfig), row.course)
			code := b.icePoint(t.Context(), "a1-air")
			if said := w.out.String() + w.errs.String(); code != row.code || !strings.Contains(said, row.want) {
				t.Errorf("exit %d, want %d and %q:\n%s", code, row.code, row.want, said)
			}
			book, notes, err := offsets.Load(b.cfg.Data, b.now(), time.UTC)
			if err != nil || notes != nil {
				t.Fatal(err, notes)
			}
			r, stored := book.Of("w1", "28-000000000001")
			if stored != (row.code == exitDone) || r.Temperature != row.offset {
				t.Errorf("stored %v: %+v", stored, r)
			}
		})
	}
}

func TestIcePointSaysWhatItDoes(t *testing.T) {
	w := newWall(t)
	b := w.ice(w.config(iceConfig), dipped(0.3125))
	if code := b.icePoint(t.Context(), "28-000000000001"); code != exitDone {
		t.Errorf("exit %d", code)
	}
	w.golden("ice-point.txt")
}

// The next start takes what was stored; what the configuration holds wins, and that they differ is said.
func TestTheNextStartTakesTheOffset(t *testing.T) {
	w := newWall(t)
	file := w.config(iceConfig)
	w.ice(file, dipped(0.5)).icePoint(t.Context(), "a1-air")
	if got := w.bench(file).cfg.probes()[0].Offset; got != (sensors.Offset{Temperature: -0.5, Date: "2026-11-02", Method: sensors.IcePoint}) {
		t.Errorf("got %+v", got)
	}
	own := w.config(strings.Replace(iceConfig, "rom: 28-000000000001}", "rom: 28-000000000001, offset: {temperature: 0.1, date: 2026-10-01, method: reference}}", 1))
	if got := w.bench(own).cfg.probes()[0].Offset.Temperature; got != 0.1 || !strings.Contains(w.errs.String(), "the configuration's offset (+0.10 °C of 2026-10-01) is used, not the -0.50 °C measured on 2026-11-02") {
		t.Errorf("got %v:\n%s", got, w.errs.String())
	}
	other := w.config(strings.ReplaceAll(iceConfig, "28-000000000001", "28-000000000002"))
	if got := w.bench(other).cfg.probes()[0].Offset; got != (sensors.Offset{}) {
		t.Errorf("another probe under the same name got %+v", got)
	}
}

func TestProbesWrongUse(t *testing.T) {
	for _, row := range []struct{ args, want string }{
		{"warm", `action "warm" is unknown`},
		{"ice-point --root ROOT", "--probe is missing"},
		{"ice-point --root ROOT --probe 28-000000000009", "no bus holds"},
		{"ice-point --root ROOT --config ROOT/nestmon.yaml --probe a1-clutser", "did you mean a1-cluster?"},
		{"ice-point --root ROOT --config ROOT/nestmon.yaml --probe a1-air", "a1-air is a humidity chip; water ruins it"},
		{"ice-point --root ROOT --config ROOT/nestmon.yaml --probe b1-air", "b1-air is configured, and not seen on a bus (28-000000000099)"},
		{"ice-point --root ROOT --probe /sys/devices/soc/i2c-1/1-0044", "is a humidity chip; water ruins it"},
		{"list --config ROOT/nowhere.yaml", "there is no such file"},
	} {
		w := newWall(t)
		w.barn()
		w.config(barnConfig)
		args := strings.Fields(strings.ReplaceAll(row.args, "ROOT", w.root))
		if code := runProbes(t.Context(), args, stdio{nil, &w.out, &w.errs}); code != exitWrongUse || !strings.Contains(w.errs.String(), row.want) {
			t.Errorf("%s: exit %d, want %q:\n%s", row.args, code, row.want, w.errs.String())
		}
	}
}
