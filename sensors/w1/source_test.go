package w1_test

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/sourcetest"
	"nestmon/sensors/w1"
)

const (
	warm    = "60 02 4b 46 7f ff 10 10 f2 : crc=f2 YES\n60 02 4b 46 7f ff 10 10 f2 t=38000\n"
	frosty  = "f8 ff 4b 46 7f ff 08 10 f8 : crc=f8 YES\nf8 ff 4b 46 7f ff 08 10 f8 t=-500\n"
	shorted = "00 00 00 00 00 00 00 00 00 : crc=00 YES\n00 00 00 00 00 00 00 00 00 t=0\n"
)

// tree is a made-up /sys with a 1-Wire bus.
type tree struct {
	testing.TB
	root string
}

func newTree(t testing.TB) tree {
	tr := tree{t, t.TempDir()}
	tr.must(os.MkdirAll(tr.dir("w1_bus_master1"), 0o755))
	return tr
}

func (t tree) dir(rom string) string { return filepath.Join(t.root, "sys/bus/w1/devices", rom) }

func (t tree) file(rom string) string { return filepath.Join(t.dir(rom), "w1_slave") }

func (t tree) put(rom, text string) {
	t.Helper()
	t.must(os.MkdirAll(t.dir(rom), 0o755))
	t.must(os.WriteFile(t.file(rom), []byte(text), 0o644))
}

func (t tree) must(err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

const roms = "28-0316a2794d5%x"

func config(n int) (all []w1.ProbeConfig) {
	for i := range n {
		all = append(all, w1.ProbeConfig{Entry: sensors.Entry{ID: fmt.Sprintf("p%d", i), Source: w1.Kind}, ROM: fmt.Sprintf(roms, i)})
	}
	return all
}

func rom(id string) string { return "28-0316a2794d5" + strings.TrimPrefix(id, "p") }

func source(t tree, probes []w1.ProbeConfig) *w1.Source {
	t.Helper()
	s, err := w1.New(t.root, probes, 30*time.Second, slog.New(slog.DiscardHandler))
	t.must(err)
	return s
}

func TestConformance(t *testing.T) {
	sourcetest.Run(t, func(t *testing.T) sourcetest.Rig {
		tr := newTree(t)
		probes := config(3)
		for _, p := range probes {
			tr.put(p.ROM, warm)
		}
		return sourcetest.Rig{
			Source: source(tr, probes),
			Vanish: func(id string) { tr.must(os.RemoveAll(tr.dir(rom(id)))) },
			Return: func(id string) { tr.put(rom(id), warm) },
			Hang:   func() func() { return tr.hang(probes[1].ROM) },
		}
	})
}

// hang makes reads of a probe block, as a stuck bus does, until the result is called.
func (t tree) hang(rom string) (release func()) {
	t.Helper()
	t.must(os.Remove(t.file(rom)))
	t.must(syscall.Mkfifo(t.file(rom), 0o644))
	return func() {
		f, err := os.OpenFile(t.file(rom), os.O_WRONLY, 0) // waits for the reader, who then reads an end
		t.must(err)
		t.must(os.Remove(t.file(rom)))
		t.must(f.Close())
	}
}

func TestReadings(t *testing.T) {
	for _, row := range []struct {
		name  string
		setup func(t tree, rom string)
		want  float64
		fault sensors.Fault
	}{
		{"warm", func(t tree, rom string) { t.put(rom, warm) }, 38, ""},
		{"below zero", func(t tree, rom string) { t.put(rom, frosty) }, -0.5, ""},
		{"line held low looks like 0 °C to the kernel", func(t tree, rom string) { t.put(rom, shorted) }, 0, sensors.StuckLow},
		{"empty file: bad checksum or no presence", func(t tree, rom string) { t.put(rom, "") }, 0, sensors.NoAnswer},
		{"errno as text", func(t tree, rom string) { t.put(rom, "-19\n") }, 0, sensors.Malformed},
		{"no directory", func(tree, string) {}, 0, sensors.NoAnswer},
		{"input/output error", func(t tree, rom string) {
			t.must(os.MkdirAll(t.dir(rom), 0o755))
			t.must(os.Symlink("/proc/self/mem", t.file(rom)))
		}, 0, sensors.NoAnswer},
		{"no 1-Wire at all", func(t tree, _ string) { t.must(os.RemoveAll(filepath.Join(t.root, "sys"))) }, 0, sensors.BusDown},
	} {
		t.Run(row.name, func(t *testing.T) {
			tr := newTree(t)
			probes := config(1)
			row.setup(tr, probes[0].ROM)
			s := source(tr, probes)
			measured := time.Date(2031, 3, 9, 6, 0, 0, 0, time.UTC)
			s.Now = func() time.Time { return measured }
			got := s.Read(t.Context())
			want := sensors.Reading{Probe: "p0", Time: measured, Value: row.want, Fault: row.fault}
			if len(got) != 1 || got[0] != want {
				t.Errorf("got %+v, want %+v", got, want)
			}
		})
	}
}

func TestASpoiltAnswerIsAskedForOnceMore(t *testing.T) {
	for name, spoilt := range map[string]string{
		"empty":        "",
		"bad checksum": "61 02 4b 46 7f ff 10 10 f2 : crc=f2 NO\n",
	} {
		t.Run(name, func(t *testing.T) {
			tr := newTree(t)
			probes := config(1)
			file := tr.file(probes[0].ROM)
			tr.must(os.MkdirAll(tr.dir(probes[0].ROM), 0o755))
			tr.must(syscall.Mkfifo(file, 0o644))
			tr.must(os.WriteFile(file+"-next", []byte(warm), 0o644))
			written := make(chan error)
			go func() {
				f, err := os.OpenFile(file, os.O_WRONLY, 0) // waits for the reader
				if err == nil {
					err = os.Rename(file+"-next", file) // for the second attempt
					_, writeErr := f.WriteString(spoilt)
					err = errors.Join(err, writeErr, f.Close())
				}
				written <- err
			}()
			got := source(tr, probes).Read(t.Context())
			tr.must(<-written)
			if !got[0].OK() || got[0].Value != 38 {
				t.Errorf("got %+v, want 38 °C from the second attempt", got[0])
			}
		})
	}
}

func TestNoConversionBeginsAfterTheContextEnded(t *testing.T) {
	tr := newTree(t)
	probes := config(2)
	for _, p := range probes {
		tr.put(p.ROM, warm)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for _, r := range source(tr, probes).Read(ctx) {
		if r.Fault != sensors.TimedOut {
			t.Errorf("got %+v, want timed-out", r)
		}
	}
}

func TestFirstFaultAndRecoveryAreLoggedWithTheirCause(t *testing.T) {
	tr := newTree(t)
	var said strings.Builder
	probes := config(1)
	s, err := w1.New(tr.root, probes, 30*time.Second, slog.New(slog.NewTextHandler(&said, nil)))
	tr.must(err)
	s.Read(t.Context())
	s.Read(t.Context())
	tr.put(probes[0].ROM, warm)
	s.Read(t.Context())
	if n := strings.Count(said.String(), "\n"); n != 2 {
		t.Errorf("got %d lines, want the first fault and the recovery:\n%s", n, said.String())
	}
	if want := `err="w1 28-0316a2794d50: is not on the bus; check its three wires and the number"`; !strings.Contains(said.String(), want) {
		t.Errorf("got %s, want %s", said.String(), want)
	}
}

func TestCheck(t *testing.T) {
	const lost = "probe p1: 28-0316a2794d51 is not on the bus; check its three wires and the number "
	for _, row := range []struct {
		name  string
		there []string
		want  []string
	}{
		{"all there", []string{"28-0316a2794d50", "28-0316a2794d51", "28-00000a1b2c3d"}, nil},
		{"another is free", []string{"28-0316a2794d50", "28-00000a1b2c3d"}, []string{lost + "(there and bound to nothing: 28-00000a1b2c3d)"}},
		{"the others are bound", []string{"28-0316a2794d50"}, []string{lost + "(every other one there is already bound)"}},
		{"none is there", nil, []string{strings.NewReplacer("p1", "p0", "4d51", "4d50").Replace(lost) + "(no other DS18B20 is there)", lost + "(no other DS18B20 is there)"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			tr := newTree(t)
			tr.put("00-100000000000", "") // a phantom of a noisy line
			for _, rom := range row.there {
				tr.put(rom, warm)
			}
			if got := source(tr, config(2)).Check(); !slices.Equal(got, row.want) {
				t.Errorf("got %q, want %q", got, row.want)
			}
		})
	}
}

func TestCheckWithoutTheBus(t *testing.T) {
	tr := newTree(t)
	tr.must(os.RemoveAll(filepath.Join(tr.root, "sys")))
	got := source(tr, config(2)).Check()
	if len(got) != 1 || !strings.Contains(got[0], "dtoverlay=w1-gpio") || !strings.Contains(got[0], "sys/bus/w1/devices cannot be listed") {
		t.Errorf("got %q, want one finding that says how to enable 1-Wire", got)
	}
}

func TestNewRefuses(t *testing.T) {
	for _, row := range []struct {
		name  string
		alter func(p []w1.ProbeConfig)
		want  string
	}{
		{"rom missing", func(p []w1.ProbeConfig) { p[1].ROM = "" }, `probe p1: rom: "" is not a 1-Wire number; write it as the kernel does`},
		{"rom in capitals", func(p []w1.ProbeConfig) { p[1].ROM = "28-0316A2794D51" }, `probe p1: rom: "28-0316A2794D51" is not`},
		{"another family", func(p []w1.ProbeConfig) { p[1].ROM = "10-0316a2794d51" }, `probe p1: rom: "10-0316a2794d51" is of family 10; only DS18B20`},
		{"bound twice", func(p []w1.ProbeConfig) { p[1].ROM = p[0].ROM }, `probe p1: rom: 28-0316a2794d50 is bound to p0 already`},
		{"clone unknown", func(p []w1.ProbeConfig) { p[0].Clone = "z" }, `probe p0: clone: "z" is not a clone family; write d or e`},
		{"id", func(p []w1.ProbeConfig) { p[0].ID = "P 0" }, `probe P 0: id: "P 0" cannot be an id`},
	} {
		t.Run(row.name, func(t *testing.T) {
			probes := config(2)
			row.alter(probes)
			_, err := w1.New("/", probes, 30*time.Second, slog.New(slog.DiscardHandler))
			if err == nil || !strings.HasPrefix(err.Error(), row.want) {
				t.Errorf("got %v, want %s …", err, row.want)
			}
		})
	}
}

func TestCloneDIsDeclaredToTheScreen(t *testing.T) {
	probes := config(2)
	probes[1].Clone = "d"
	got := source(newTree(t), probes).Probes()
	if got[0].Chip != sensors.ChipDS18B20 || got[1].Chip != sensors.ChipDS18B20D {
		t.Errorf("got %q and %q", got[0].Chip, got[1].Chip)
	}
	if got[0].Interval != 30*time.Second || got[0].StaleAfter != 90*time.Second {
		t.Errorf("got %+v", got[0])
	}
}
