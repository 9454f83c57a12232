package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

const replayed = `
site: {timezone: America/Denver}
probes: [{id: oak-air, source: recorded}]
nests: [{id: oak, kind: wooden-box, air: oak-air}]
`

// replayOn replays a readings file and a litters file, absent where empty.
func replayOn(t *testing.T, readings, litters string, more ...string) (code int, out, errs string) {
	t.Helper()
	return replayWith(t, replayed, readings, litters, more...)
}

func replayWith(t *testing.T, yaml, readings, litters string, more ...string) (code int, out, errs string) {
	t.Helper()
	dir := t.TempDir()
	args := []string{"--summary"}
	for _, f := range []struct{ flag, name, text string }{
		{"--config", "F", yaml}, {"--readings", "R", readings}, {"--litters", "L", litters},
	} {
		if f.text == "" {
			continue
		}
		file := filepath.Join(dir, f.name)
		if err := os.WriteFile(file, []byte(f.text), 0o600); err != nil {
			t.Fatal(err)
		}
		args = append(args, f.flag, file)
	}
	var o, e bytes.Buffer
	code = runReplay(t.Context(), append(args, more...), stdio{out: &o, err: &e})
	return code, o.String(), strings.ReplaceAll(e.String(), dir+"/", "")
}

func TestReplayRefuses(t *testing.T) {
	const head, row = "time,probe,temperature_c,humidity_pct\n", "2031-01-01T00:00:00Z,oak-air,20,50\n"
	const books = "nest,bred,kindled,born,ended\n"
	for _, r := range []struct {
		name, readings, litters string
		code                    int
		want                    string
	}{
		{"one row", head + row, "", exitDone, "1 rows, 2 readings from 2031-01-01T00:00:00Z to 2031-01-01T00:00:00Z; 0 rejected, 0 humidities clipped; 0 urgent"},
		{"no row", head, "", exitDone, "no rows"},
		{"humidity a little above 100", head + "2031-01-01T00:00:00Z,oak-air,,104\n", "", exitDone, "0 rejected, 1 humidities clipped"},
		{"humidity far above 100", head + "2031-01-01T00:00:00Z,oak-air,20,106\n", "", exitDone, "1 rejected, 0 humidities clipped"},
		{"a probe that is not configured", head + "2031-01-01T00:00:00Z,ash-air,20,50\n", "", exitWrongUse, `R:2:22: no probe "ash-air" is configured; write one of: oak-air`},
		{"the same time twice", head + row + row, "", exitWrongUse, "R:3:1: probe oak-air was read at 2031-01-01T00:00:00Z already"},
		{"a litter", head + row, books + "oak,2030-12-01,2030-12-31,8,\n", exitDone, "1 rows"},
		{"a litter of an unknown nest", head + row, books + "ash,2030-12-01,,,\n", exitWrongUse, `L:2: nest "ash" is not in the configuration`},
		{"a litter without a beginning", head + row, books + "oak,,,8,\n", exitWrongUse, "L:2: neither bred nor kindled is given"},
		{"kindled before bred", head + row, books + "oak,2030-12-31,2030-12-01,8,\n", exitWrongUse, "L:2: kindled is before bred"},
		{"columns out of order", head + row, "bred,nest,kindled,born,ended\n", exitWrongUse, `L:1: column 1 is "bred"`},
		{"an empty litter book", head + row, " ", exitWrongUse, "write the header nest,bred,kindled,born,ended"},
	} {
		t.Run(r.name, func(t *testing.T) {
			code, out, errs := replayOn(t, r.readings, r.litters)
			if code != r.code || !strings.Contains(errs, r.want) {
				t.Errorf("exit %d, want %d; said %q, want %q", code, r.code, errs, r.want)
			}
			if out != "" {
				t.Errorf("events: %s", out)
			}
		})
	}
}

// An hour of 38 °C among kits of three days, then silence until another row six hours later: what the events file says of it.
func TestReplayEvents(t *testing.T) {
	readings := "time,probe,temperature_c\n"
	at := time.Date(2031, time.January, 4, 12, 0, 0, 0, time.UTC)
	for range 60 {
		readings += at.Format(time.RFC3339) + ",oak-air,38\n"
		at = at.Add(time.Minute)
	}
	readings += at.Add(6*time.Hour).Format(time.RFC3339) + ",oak-air,22\n"
	litters := "nest,bred,kindled,born,ended\noak,2030-12-01,2031-01-01,8,\n"
	code, out, errs := replayOn(t, readings, litters)
	if code != exitDone {
		t.Fatalf("exit %d: %s", code, errs)
	}
	if _, again, _ := replayOn(t, readings, litters); again != out {
		t.Error("the same readings give other events")
	}
	wanted := []string{"event", "limit", "nest", "probe", "rule", "severity", "since", "source", "state", "text", "time", "unit", "value"}
	said := map[string]time.Time{} // the first of each
	last := time.Time{}
	for line := range strings.Lines(out) {
		var keys map[string]json.RawMessage
		var e struct {
			Time                   time.Time
			Nest                   *string
			Event, State, Severity string
		}
		if err := json.Unmarshal([]byte(line), &keys); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal([]byte(line), &e); err != nil {
			t.Fatal(err)
		}
		if got := slices.Sorted(maps.Keys(keys)); !slices.Equal(got, wanted) {
			t.Errorf("keys %v, want %v", got, wanted)
		}
		if e.Time.Before(last) {
			t.Errorf("goes back in time: %s", line)
		}
		last = e.Time
		name := fmt.Sprint(e.Event, " ", e.State, " ", e.Severity)
		if _, twice := said[name]; !twice {
			said[name] = e.Time
		}
	}
	if heat := said["nest-heat raised urgent"]; heat.IsZero() || heat.After(at) {
		t.Errorf("urgent heat at %v, want one in the hour: %s", heat, out)
	}
	silent := said["probe-silent raised warning"]
	if silent.IsZero() {
		silent = said["probe-silent raised urgent"]
	}
	if silent.IsZero() || silent.After(at.Add(2*time.Hour)) {
		t.Errorf("silent at %v, want soon after %v and not only at the next row: %s", silent, at, out)
	}
}
