package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// rows is a configuration of w1 probes, and the board they hang on: so many on each master, the rest nowhere.
func rows(t *testing.T, poll string, probes int, masters ...int) (root, yaml string) {
	t.Helper()
	root = t.TempDir()
	var b strings.Builder
	fmt.Fprintf(&b, "data: %s\npoll: %s\nprobes:\n", t.TempDir(), poll)
	n := 0
	for m, here := range masters {
		if err := os.MkdirAll(filepath.Join(root, "sys/bus/w1/devices", fmt.Sprintf("w1_bus_master%d", m+1)), 0o755); err != nil {
			t.Fatal(err)
		}
		for range here {
			n++
			hang(t, root, fmt.Sprintf("w1_bus_master%d", m+1), fmt.Sprintf("28-%012x", n))
		}
	}
	for n := range probes {
		fmt.Fprintf(&b, "  - {id: p%d, source: w1, rom: 28-%012x}\n", n, n+1)
	}
	return root, b.String()
}

// What a poll costs a wire is 0.77 s a probe: 760 to 787 ms were measured of the kernel's w1_therm.
func TestCheckKnowsWhatAWireTakes(t *testing.T) {
	for _, row := range []struct {
		name    string
		poll    string
		probes  int
		masters []int
		refused string // of the error, empty for none
		out     string // part of what would be watched
	}{
		{"a row that fits", "30s", 31, []int{31}, "", "wire      w1-1: 31 probes, one after another: 23.9 s of each 30s\n"},
		{
			"a probe too many", "30s", 32,
			[]int{32},
			"F:2:7: poll: 30s leaves 24s for reading, and the 32 probes on w1-1 take 24.6s one after another: they would be late at every poll; write 35s, or use several wires, or source: onewire",
			"w1-1: 32 probes, one after another: 24.6 s of each 30s",
		},
		{"spread over two wires", "30s", 32, []int{16, 16}, "", "wire      w1-2: 16 probes, one after another: 12.3 s of each 30s\n"},
		{"one of two wires is too full", "5s", 9, []int{7, 2}, "the 7 probes on w1-1 take 5.4s one after another: they would be late at every poll; write 10s", "w1-2: 2 probes"},
		{"one probe", "5s", 1, []int{1}, "", "wire      w1-1: 1 probe, one after another: 0.8 s of each 5s\n"},
	} {
		t.Run(row.name, func(t *testing.T) {
			root, yaml := rows(t, row.poll, row.probes, row.masters...)
			code, out, errs := checkOn(t, root, yaml)
			if refused := code == exitWrongUse; refused != (row.refused != "") || !strings.Contains(errs, row.refused) {
				t.Errorf("exit %d:\n%swant %q", code, errs, row.refused)
			}
			if strings.Contains(errs, "on one wire they would be late") {
				t.Errorf("the wires are known, and it still guesses:\n%s", errs)
			}
			if !strings.Contains(out, row.out) {
				t.Errorf("got:\n%swant %q", out, row.out)
			}
		})
	}
}

func TestWiresOfMissingProbesAreGuessedAt(t *testing.T) {
	root, yaml := rows(t, "30s", 32, 30)
	code, out, errs := checkOn(t, root, yaml)
	if code == exitWrongUse || !strings.Contains(errs, "F:2:7: warning: poll: 30s leaves 24s for reading, and the 1-Wire probes take 24.6s one after another: on one wire they would be late") {
		t.Errorf("exit %d:\n%s", code, errs)
	}
	if !strings.Contains(out, "wire unknown, not there now: 2 probes") {
		t.Errorf("got:\n%s", out)
	}
}

func TestOneWireTakesOneConversion(t *testing.T) {
	for _, row := range []struct {
		probes int
		late   bool
	}{{64, false}, {65, true}} { // 0.8 s for all and 50 ms each, in the 4 s that a poll of 5 s leaves
		var b strings.Builder
		b.WriteString("poll: 5s\nprobes:\n")
		for n := range row.probes {
			fmt.Fprintf(&b, "  - {id: p%d, source: onewire, bus: i2c-1/0x18/%d, rom: 28-%012x}\n", n, n%8, n+1)
		}
		_, findings := parseConfig([]byte(b.String()), writtenBy)
		var said bytes.Buffer
		writeFindings(&said, "f", findings)
		if late := strings.Contains(said.String(), "f:1:7: poll: 5s leaves 4s for reading, and the 65 probes on onewire-i2c-1-0x18 take 4.1s together: they would be late at every poll; write 10s, or use several wires"); late != row.late {
			t.Errorf("%d probes:\n%s", row.probes, said.String())
		}
	}
}

// The shunt decides every current, also where it is not written.
func TestPlanShowsTheShunt(t *testing.T) {
	for ohm, want := range map[float64]string{0: "i2c i2c-1 0x40, ina219, shunt 0.1 Ω", 0.01: "i2c i2c-1 0x40, ina219, shunt 0.01 Ω"} {
		p := probeConfig{Chip: "ina219", Bus: "i2c-1", Address: 0x40, ShuntOhm: ohm}
		p.Source = "i2c"
		if got := p.wire(); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}
