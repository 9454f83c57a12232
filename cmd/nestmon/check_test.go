package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// checkOn runs check on an invented board whose file system is root, and returns what it printed.
func checkOn(t *testing.T, root, yaml string, args ...string) (code int, out, errs string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "nestmon.yaml")
	if err := os.WriteFile(file, []byte(yaml), 0o600); err != nil {
		t.Fatal(err)
	}
	var o, e bytes.Buffer
	code = check(t.Context(), append([]string{"--config", file, "--root", root}, args...), stdio{out: &o, err: &e})
	return code, o.String(), strings.ReplaceAll(e.String(), file, "F")
}

const onBoard = `
site: {display: fahrenheit}
data: DATA
probes:
  - {id: a1-air, source: w1, rom: 28-0316a2794d5f}
  - {id: a1-cluster, source: w1, rom: 28-0416c1e07bff}
  - {id: outside, source: kernel, device: sht4x}
nests:
  - {id: a1, kind: wooden-box, air: a1-air, cluster: a1-cluster}
outside: outside
`

func TestCheck(t *testing.T) {
	const wires, chip = "sys/bus/w1/devices/", "sys/class/hwmon/hwmon3/"
	whole := []string{
		wires + "w1_bus_master1/", wires + "28-0316a2794d5f/", wires + "28-0416c1e07bff/",
		chip + "name=sht4x", chip + "temp1_input=21000", chip + "humidity1_input=55000",
	}
	for _, row := range []struct {
		name string
		yaml string
		sys  []string // folders and files the board has
		data string   // of the archive; a file is put there when it ends in .txt
		code int
		out  []string
		errs []string
	}{
		{
			name: "all is well", yaml: onBoard, sys: whole, code: exitDone,
			out: []string{
				"program   nestmon ",
				"site      nestmon, UTC, archive in ",
				"a1: wooden-box, solid floor; heat and cold of the air by a1-air; chill of the kits by a1-cluster; damp and bedding NOT JUDGED, no humidity probe in nest air; the doe by outside\n",
				"air 59.0 °F to 86.0 °F",
				"NOBODY    notices when this board is dead; write phone: {heartbeat: ...}",
			},
		},
		{
			name: "somebody notices when the board is dead", sys: whole, code: exitDone,
			yaml: onBoard + "phone: {heartbeat: {url: 'https://beat.example/x'}}\n", out: []string{"heartbeat every 5m; let its receiver call you when none came for 15m\n"},
		},
		{
			name: "heartbeats that are close together", sys: whole, code: exitDone,
			yaml: onBoard + "phone: {heartbeat: {url: 'https://beat.example/x', every: 1m}}\n", out: []string{"heartbeat every 1m; let its receiver call you when none came for 5m\n"},
		},
		{
			name: "a slow poll slows the heartbeat", sys: whole, code: exitDone,
			yaml: onBoard + "poll: 10m\nphone: {heartbeat: {url: 'https://beat.example/x'}}\n", out: []string{"heartbeat every 10m; let its receiver call you when none came for 30m\n"},
		},
		{
			name: "the file with the heartbeat's address is missing", sys: whole, code: exitFinding,
			yaml: onBoard + "phone: {heartbeat: {url_file: /nowhere/url}}\n", out: []string{"missing   phone.heartbeat.url_file: there is no file /nowhere/url"},
		},
		{
			name: "links that lead a phone to itself", sys: whole, code: exitDone,
			yaml: onBoard + "publish: {page: {listen: '0.0.0.0:8380', address: 'http://127.0.0.1:8380'}}\nphone: {channels: [{name: mobile, url: 'https://push.example/x'}]}\n",
			out:  []string{"note      publish.page.address leads a phone to the phone itself"},
		},
		{
			name: "a humidity probe in the nest and none outside", code: exitFinding, sys: whole,
			yaml: strings.Replace(strings.Replace(strings.Replace(onBoard, "display: fahrenheit", "altitude_m: 1650", 1), "outside: outside\n", "", 1), "air: a1-air, ", "air: outside, ", 1),
			out:  []string{"1650 m above sea level", "damp and bedding by the humidity of outside; the doe NOT JUDGED, no probe in her cage or outside"},
		},
		{
			name: "the archive's folder is yet to be made", yaml: onBoard, sys: whole, data: "new/deep", code: exitDone,
		},
		{
			name: "no 1-Wire bus", yaml: onBoard, sys: whole[3:], code: exitFinding,
			out: []string{"enable 1-Wire", "dtoverlay=w1-gpio"},
		},
		{
			name: "a probe is not on the bus", yaml: onBoard, sys: append([]string{wires + "28-0416c1e07bfe/"}, slices.Delete(slices.Clone(whole), 2, 3)...), code: exitFinding,
			out: []string{"probe a1-cluster: 28-0416c1e07bff is not on the bus", "28-0416c1e07bfe"},
		},
		{
			name: "no kernel sensors", yaml: onBoard, sys: whole[:3], code: exitFinding,
			out: []string{"load the sensor's driver"},
		},
		{
			name: "the archive's folder is a file", yaml: onBoard, sys: whole, data: "a.txt", code: exitFinding,
			out: []string{"the archive cannot be written"},
		},
		{
			name: "a nest without air", yaml: strings.Replace(onBoard, "air: a1-air, ", "", 1), sys: whole, code: exitFinding,
			out:  []string{"heat and cold of the air NOT JUDGED"},
			errs: []string{"F:9:6: warning: nests[a1]: without `air`"},
		},
		{
			name: "an unknown key", yaml: onBoard + "pol: 30s\n", sys: whole, code: exitWrongUse,
			errs: []string{`F:11:1: unknown key "pol"; did you mean poll?`},
		},
	} {
		t.Run(row.name, func(t *testing.T) {
			root, data := t.TempDir(), filepath.Join(t.TempDir(), row.data)
			for _, file := range row.sys {
				name, text, _ := strings.Cut(file, "=")
				plant(t, filepath.Join(root, name), text)
			}
			if strings.HasSuffix(data, ".txt") {
				plant(t, data, "mine")
			}
			yaml := strings.Replace(row.yaml, "DATA", data, 1)
			code, out, errs := checkOn(t, root, yaml)
			if code != row.code {
				t.Errorf("exit %d, want %d\n%s%s", code, row.code, out, errs)
			}
			for _, want := range row.out {
				if !strings.Contains(out, want) {
					t.Errorf("%q is not in the output:\n%s", want, out)
				}
			}
			for _, want := range row.errs {
				if !strings.Contains(errs, want) {
					t.Errorf("%q is not among the messages:\n%s", want, errs)
				}
			}
			left, err := filepath.Glob(filepath.Join(filepath.Dir(data), "*", ".nestmon-check-*"))
			if err != nil || len(left) > 0 {
				t.Errorf("check left %q behind, %v", left, err)
			}
		})
	}
}

// TestCheckSeesTheBoundOnesOnEveryWire: a missing probe shows on no wire, the others on theirs, and none of them is free.
func TestCheckSeesTheBoundOnesOnEveryWire(t *testing.T) {
	root := t.TempDir()
	plant(t, filepath.Join(root, "sys/bus/w1/devices/w1_bus_master1"), "")
	hang(t, root, "w1_bus_master1", "28-0316a2794d5f")
	yaml := strings.Replace(strings.ReplaceAll(onBoard, "outside: outside", ""), "  - {id: outside, source: kernel, device: sht4x}\n", "", 1)
	code, out, errs := checkOn(t, root, strings.Replace(yaml, "DATA", t.TempDir(), 1))
	if want := "28-0416c1e07bff is not on the bus; check its three wires and the number (every other one there is already bound)"; code != exitFinding || !strings.Contains(out, want) {
		t.Errorf("exit %d; %q is not in\n%s%s", code, want, out, errs)
	}
}

// TestWithoutConfig: a command says where it looked when no flag names the configuration.
func TestWithoutConfig(t *testing.T) {
	if _, err := os.Stat(installedConfig); err == nil {
		t.Skipf("%s is there", installedConfig)
	}
	for _, name := range []string{"run", "check", "replay", "export", "status", "litter", "chores", "alarms"} {
		t.Run(name, func(t *testing.T) {
			args := []string{name}
			if name == "litter" {
				args = append(args, "list")
			}
			refused(t, args, installedConfig+": there is no such file; copy")
			refused(t, append(args, "--config="), "--config is empty; write")
			if code, _, errs := calling(t, append(args, "-h")...); code != exitDone || !strings.Contains(errs, `(default "`+installedConfig+`")`) {
				t.Errorf("-h: exit %d, %s; want 0 and the default path", code, errs)
			}
		})
	}
}

func TestHelpHasTheExitCodes(t *testing.T) {
	if _, out, _ := calling(t, "help"); !strings.Contains(out, "Exit codes: 0 done; 1 a finding: an alarm stands, a check failed; 2 wrong use") {
		t.Errorf("exit codes are missing in\n%s", out)
	}
}

// plant makes a file, or an empty folder where there is no text.
func plant(t *testing.T, name, text string) {
	t.Helper()
	if text == "" {
		if err := os.MkdirAll(name, 0o755); err != nil {
			t.Fatal(err)
		}
		return
	}
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func TestCheckJSON(t *testing.T) {
	code, out, errs := checkOn(t, t.TempDir(), strings.Replace(onBoard, "DATA", t.TempDir(), 1)+"pol: 30s\n", "--json")
	var got struct {
		Findings []struct {
			Line, Column   int
			Severity, Text string
		}
		Watched, Missing []any
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if code != exitWrongUse || errs != "" || len(got.Findings) != 1 || got.Findings[0].Line != 11 || got.Findings[0].Severity != "error" {
		t.Errorf("exit %d, %+v, messages %q", code, got, errs)
	}
	if got.Watched == nil || got.Missing == nil {
		t.Error("empty lists are null")
	}
}
