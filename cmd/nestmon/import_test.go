package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
)

// What one archive exports another takes, all of it or nothing, and what is wrong is told with its line.
func TestReadingsInAndOut(t *testing.T) {
	folder := barnFolder(t)
	plain := func(data string) string {
		file := filepath.Join(folder, data+".yaml")
		plant(t, file, fmt.Sprintf("data: %s\nprobes: [{id: p, source: recorded}, {id: q, source: recorded}]\nnests: [{id: oak, kind: wooden-box, air: p, cluster: [q]}]\n", filepath.Join(folder, data)))
		return file
	}
	give := func(args ...string) (code int, text string) {
		var out, errs strings.Builder
		code = run(t.Context(), args, stdio{out: &out, err: &errs})
		return code, out.String() + errs.String()
	}
	probes := []sensors.Probe{{ID: "p", Quantities: []sensors.Quantity{sensors.Temperature, sensors.Humidity}}, {ID: "q", Quantities: []sensors.Quantity{sensors.Temperature}}}
	begin := time.Date(2025, 1, 5, 8, 0, 0, 0, time.UTC)
	fill := func(data string, from, to int) {
		a, err := archive.Open(filepath.Join(folder, data), archive.Options{Probes: probes, Now: func() time.Time { return begin }})
		if err != nil {
			t.Fatal(err)
		}
		for i := from; i < to; i++ {
			c := exporter.Commit{Time: begin.Add(time.Duration(i) * time.Minute), Synced: true}
			for _, p := range probes {
				for _, q := range p.Quantities {
					c.Readings = append(c.Readings, sensors.Reading{Probe: p.ID, Quantity: q, Time: c.Time, Value: 20 + float64(i)/100})
				}
			}
			if err := a.Commit(c); err != nil {
				t.Fatal(err)
			}
		}
		if err := a.Close(); err != nil {
			t.Fatal(err)
		}
	}
	one, two, csv := plain("one"), plain("two"), filepath.Join(folder, "r.csv")
	fill("one", 0, 300)
	fill("two", 240, 300)
	if code, text := give("export", "--config", one, "--out", csv); code != exitDone {
		t.Fatal(text)
	}
	head := "time,probe,temperature_c,humidity_pct,co2_ppm\n"
	for _, row := range []struct{ name, csv, want string }{
		{"half a row", head + "2025-01-05T08:00:00Z,p,20,50,\n2025-01-05T08:01:00Z,p\n", "FILE:3:1: row has 2 fields"},
		{"no such probe", head + "2025-01-05T08:00:00Z,p,20,50,\n2025-01-05T08:01:00Z,z,20,,\n", `FILE:3:22: no probe "z" is configured`},
		{"in the future", head + "2999-01-05T08:00:00Z,p,20,50,\n", "in the future"},
		{"what cannot be", head + "2025-01-05T08:00:00Z,p,20,50,\n2025-01-05T08:01:00Z,p,900,,\n", "is 900, which cannot be"},
	} {
		file := filepath.Join(folder, "bad.csv")
		plant(t, file, row.csv)
		if code, text := give("import", "--config", two, "--readings", file); code != exitWrongUse || !strings.Contains(text, strings.ReplaceAll(row.want, "FILE", file)) {
			t.Errorf("%s: %d %s", row.name, code, text)
		}
	}
	if code, text := give("import", "--config", two); code != exitWrongUse || !strings.Contains(text, "--readings is missing") {
		t.Errorf("%d %s", code, text)
	}
	if code, text := give("import", "--config", two, "--readings", csv); code != exitDone || !strings.Contains(text, "720 readings of 240 polls. The archive has its own from 2025-01-05 12:00 on; 60 polls of then and later were left out.") {
		t.Errorf("%d %s", code, text)
	}
	want, err := os.ReadFile(csv)
	if err != nil {
		t.Fatal(err)
	}
	if code, text := give("export", "--config", two); code != exitDone || text != string(want) {
		t.Errorf("%d: %d bytes exported, want %d", code, len(text), len(want))
	}
	if code, text := give("import", "--config", two, "--readings", csv, "--json"); code != exitDone || !strings.Contains(text, `"polls": 0`) {
		t.Errorf("again: %d %s", code, text)
	}
}
