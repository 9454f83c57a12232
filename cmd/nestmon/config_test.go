package main

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/thresholds/brood"
)

var update = flag.Bool("update", false, "rewrite the .want files; read the difference before you keep it")

// TestBadConfigs reads one file per rule; what is said of it stands beside it.
func TestBadConfigs(t *testing.T) {
	files, err := filepath.Glob("testdata/config/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatalf("no files: %v", err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".yaml"), func(t *testing.T) {
			_, findings, err := loadConfig(file)
			if err != nil {
				t.Fatal(err)
			}
			var got bytes.Buffer
			writeFindings(&got, filepath.Base(file), findings)
			wanted := strings.TrimSuffix(file, ".yaml") + ".want"
			if *update {
				if err := os.WriteFile(wanted, got.Bytes(), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(wanted)
			if err != nil {
				t.Fatal(err)
			}
			if got.String() != string(want) || got.Len() == 0 {
				t.Errorf("got:\n%swant:\n%s", got.String(), want)
			}
		})
	}
}

func TestExampleLoads(t *testing.T) {
	c, findings, err := loadConfig("example.yaml")
	if err != nil || len(findings) > 0 {
		t.Fatalf("%v %+v", err, findings)
	}
	r := c.rabbitry()
	if len(r.Nests) != 3 || r.Location.String() != "America/Denver" || r.Outside != "outside" || r.Poll != 30*time.Second {
		t.Errorf("rabbitry %+v", r)
	}
	if got := r.Limits.Air(0, brood.Mild).HeatWarn.C; got != 29 {
		t.Errorf("heat_warn is %g, want the file's 29", got)
	}
	if got := r.Nests[1].Cluster; !reflect.DeepEqual(got, []string{"b2-cluster", "b2-cluster-2"}) {
		t.Errorf("clusters %q", got)
	}
	if got := r.Nests[2].Floor; got != brood.SolidFloor {
		t.Errorf("floor %q, want solid where none is written", got)
	}
}

func TestProbesAreCompleted(t *testing.T) {
	both := []sensors.Quantity{sensors.Temperature, sensors.Humidity}
	for _, row := range []struct {
		name string
		file probeConfig
		want sensors.Probe
	}{
		{
			"w1 at the pace of the poll",
			probeConfig{ID: "a", Source: "w1"},
			sensors.Probe{ID: "a", Quantities: both[:1], Interval: time.Minute, StaleAfter: 3 * time.Minute},
		},
		{
			"kernel with its own pace",
			probeConfig{ID: "a", Source: "kernel", Chip: "sht3x", Interval: 5 * time.Minute},
			sensors.Probe{ID: "a", Chip: "sht3x", Quantities: both, Interval: 5 * time.Minute, StaleAfter: 15 * time.Minute},
		},
		{
			"kernel that measures less",
			probeConfig{ID: "a", Source: "kernel", Quantities: []string{"temperature"}, StaleAfter: time.Hour},
			sensors.Probe{ID: "a", Quantities: both[:1], Interval: time.Minute, StaleAfter: time.Hour},
		},
		{
			"recorded measures everything",
			probeConfig{ID: "a", Source: "recorded"},
			sensors.Probe{ID: "a", Quantities: sensors.Quantities[:], Interval: time.Minute, StaleAfter: 3 * time.Minute},
		},
	} {
		t.Run(row.name, func(t *testing.T) {
			c := defaultConfig()
			c.Poll, c.Probes = time.Minute, []probeConfig{row.file}
			if got := c.probes()[0]; !reflect.DeepEqual(got, row.want) {
				t.Errorf("got  %+v\nwant %+v", got, row.want)
			}
		})
	}
}

func TestMissingFile(t *testing.T) {
	_, _, err := loadConfig(filepath.Join(t.TempDir(), "absent.yaml"))
	if err == nil || !strings.Contains(err.Error(), "there is no such file; ") {
		t.Errorf("got %v", err)
	}
}

// TestEveryBlockIsStrict plants a misspelt key in every block the configuration has, however deep.
func TestEveryBlockIsStrict(t *testing.T) {
	blocks := 0
	var walk func(typ reflect.Type, before, after string)
	walk = func(typ reflect.Type, before, after string) {
		switch typ.Kind() {
		case reflect.Pointer:
			walk(typ.Elem(), before, after)
		case reflect.Slice:
			walk(typ.Elem(), before+"[", "]"+after)
		case reflect.Struct:
			fields := fieldsOf(reflect.New(typ).Elem())
			if len(fields) == 0 {
				return
			}
			blocks++
			_, findings := parseConfig([]byte(before + "{misspelt: 1}" + after))
			var said bytes.Buffer
			writeFindings(&said, "f", findings)
			if !strings.Contains(said.String(), `unknown key "misspelt"`) {
				t.Errorf("%s{misspelt: 1}%s was let through:\n%s", before, after, said.String())
			}
			for _, f := range fields {
				walk(f.value.Type(), before+"{"+f.key+": ", "}"+after)
			}
		}
	}
	walk(reflect.TypeFor[config](), "", "")
	if blocks < 6 {
		t.Errorf("only %d blocks were tried", blocks)
	}
}

func FuzzConfig(f *testing.F) {
	files, _ := filepath.Glob("testdata/config/*.yaml")
	for _, file := range append(files, "example.yaml") {
		text, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Fuzz(func(_ *testing.T, text []byte) {
		if c, findings := parseConfig(text); !anyError(findings) {
			c.rabbitry()
			planOf(c)
		}
	})
}
