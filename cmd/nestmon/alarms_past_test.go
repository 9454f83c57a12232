package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/alarm/quality"
)

const twoNests = `
site: {timezone: America/Denver}
data: %[1]s
probes: [{id: oak-air, source: recorded}, {id: elm-air, source: recorded}]
nests: [{id: oak, kind: wooden-box, air: oak-air}, {id: elm, kind: wooden-box, air: elm-air}]
`

// pastDoor is a daemon's control socket over an archive with ten days in it. It answers at the noon of 16 January in Denver.
func pastDoor(t *testing.T, fill func(commit func(exporter.Commit))) (config string) {
	t.Helper()
	probes := []sensors.Probe{
		{ID: "oak-air", Quantities: []sensors.Quantity{sensors.Temperature}, Interval: 10 * time.Minute},
		{ID: "elm-air", Quantities: []sensors.Quantity{sensors.Temperature}, Interval: 10 * time.Minute},
	}
	return doorTo(t, twoNests, probes, pastNow, func(a *archive.Archive) {
		fill(func(c exporter.Commit) {
			if err := a.Commit(c); err != nil {
				t.Fatal(err)
			}
		})
	})
}

// configured is a configuration file in a folder of its own, which the text names as %s.
func configured(t *testing.T, text string) (cfg *config, file string) {
	t.Helper()
	dir, err := os.MkdirTemp("", "nestmon-") // t.TempDir may be longer than a socket's path can be
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	file = filepath.Join(dir, "F")
	if err := os.WriteFile(file, fmt.Appendf(nil, text, dir), 0o600); err != nil {
		t.Fatal(err)
	}
	if cfg, _, err = loadConfig(file); err != nil {
		t.Fatal(err)
	}
	return cfg, file
}

// doorTo is a daemon's control socket over an archive that is filled before it opens.
func doorTo(t *testing.T, text string, probes []sensors.Probe, now time.Time, fill func(*archive.Archive)) (config string) {
	t.Helper()
	cfg, config := configured(t, text)
	a, err := archive.Open(cfg.Data, archive.Options{Probes: probes})
	if err != nil {
		t.Fatal(err)
	}
	fill(a)
	p := &stepPace{}
	p.now.Store(&now)
	d := &daemon{cfg: cfg, archive: a, pace: p, sinks: &sinks{now: p.Now}}
	if err := d.openBook(); err != nil {
		t.Fatal(err)
	}
	door, err := openControl(cfg.Control, d, http.NotFoundHandler())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := door.stop(t.Context()); err != nil && t.Context().Err() == nil {
			t.Error(err)
		}
		if err := a.Close(); err != nil {
			t.Error(err)
		}
	})
	return config
}

var pastNow = time.Date(2031, time.January, 16, 19, 0, 0, 0, time.UTC)

// tenDays is invented: readings every ten minutes but for twelve hours in which elm had none, an urgent alarm in the night that was seen, one
// by day that was not, and one that stands since before.
func tenDays(commit func(exporter.Commit)) {
	begin := pastNow.AddDate(0, 0, -10)
	for t := begin; t.Before(pastNow); t = t.Add(10 * time.Minute) {
		c := exporter.Commit{Time: t, Readings: []sensors.Reading{{Probe: "oak-air", Quantity: sensors.Temperature, Time: t, Value: 20}}}
		if d := t.Sub(begin); d < 72*time.Hour || d >= 84*time.Hour {
			c.Readings = append(c.Readings, sensors.Reading{Probe: "elm-air", Quantity: sensors.Temperature, Time: t, Value: 21})
		}
		commit(c)
	}
	raised := func(at time.Time, nest string, name alarm.Name, s alarm.Severity) alarm.Event {
		return alarm.Event{Time: at, Since: at.Add(-10 * time.Minute), Nest: nest, Name: name, State: alarm.Raised, Severity: s, Value: 33.4, Limit: 32, HasValue: true, HasLimit: true, Unit: "C", Text: "long words"}
	}
	over := func(e alarm.Event, after time.Duration) alarm.Event {
		e.Time, e.State = e.Time.Add(after), alarm.Cleared
		return e
	}
	night := time.Date(2031, time.January, 12, 9, 10, 0, 0, time.UTC) // 02:10 in Denver
	hot, cold := raised(night, "oak", alarm.NestHeat, alarm.Urgent), raised(night.Add(30*time.Hour), "elm", alarm.NestCold, alarm.Urgent)
	old := raised(begin.Add(-48*time.Hour), "", alarm.SinkFault, alarm.Warning)
	commit(exporter.Commit{Time: pastNow, Events: []alarm.Event{hot, over(hot, 52*time.Minute), cold, over(cold, time.Hour)}, Acts: []alarm.Act{
		{Action: alarm.Acknowledge, Nest: "oak", Event: alarm.NestHeat, By: "ann, page\x1b[2J", At: night.Add(4 * time.Minute)},
		{Action: alarm.Shelve, Nest: "oak", By: "bob, command", For: time.Hour, At: night.Add(5 * time.Minute)},
	}, Standing: []alarm.Standing{{Event: old}}, StandingChanged: true})
}

func alarmsSay(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = alarmsCommand.run(t.Context(), args, stdio{out: &o, err: &e})
	return code, o.String(), e.String()
}

func TestAlarmsOfThePast(t *testing.T) {
	config := pastDoor(t, tenDays)
	t.Run("journal", func(t *testing.T) {
		code, out, errs := alarmsSay(t, "journal", "--config", config)
		want := `2031-01-12 02:10  oak  nest-heat   urgent, 33.4 °C (92.1 °F), limit 32.0 °C (89.6 °F)
2031-01-12 02:14  oak  nest-heat   acknowledged by ann, page[2J
2031-01-12 02:15  oak  all alarms  shelved for 1h by bob, command
2031-01-12 03:02  oak  nest-heat   over after 1h2m
2031-01-13 08:10  elm  nest-cold   urgent, 33.4 °C (92.1 °F), limit 32.0 °C (89.6 °F)
2031-01-13 09:10  elm  nest-cold   over after 1h10m
`
		if code != exitDone || out != want || errs != "" {
			t.Errorf("exit %d, said %q, got:\n%s\nwant:\n%s", code, errs, out, want)
		}
	})
	t.Run("of one nest", func(t *testing.T) {
		if _, out, _ := alarmsSay(t, "journal", "--config", config, "--nest", "elm"); strings.Count(out, "\n") != 2 || strings.Contains(out, "oak") {
			t.Errorf("got:\n%s", out)
		}
	})
	t.Run("of two days", func(t *testing.T) {
		if _, out, _ := alarmsSay(t, "journal", "--config", config, "--days", "2"); out != "Nothing was raised and nothing done.\n" {
			t.Errorf("got:\n%s", out)
		}
	})
	t.Run("journal as JSON", func(t *testing.T) {
		_, out, errs := alarmsSay(t, "journal", "--config", config, "--json")
		var all []map[string]any
		if err := json.Unmarshal([]byte(out), &all); err != nil || len(all) != 6 || all[0]["severity"] != "urgent" || all[1]["action"] != "acknowledge" || all[2]["for_s"] != 3600.0 {
			t.Errorf("%v: %s%s", err, out, errs)
		}
	})
	t.Run("quality", func(t *testing.T) {
		code, out, errs := alarmsSay(t, "quality", "--config", config)
		for _, want := range []string{
			"Between 22:00 and 06:00 an urgent alarm came once in 10 days (6 Jan to 16 Jan\n2031): 12 Jan 02:10 oak: nest too hot.\nBy day once: 13 Jan 08:10 elm: nest cold.\nCounted is",
			"2 alarms in 2.8 nest-weeks (2 nests): 0.72 a nest-week, 95 % [0.09-2.59]", // 480 h less 12, so 2.79: 0.2422 and 7.2247 of them
			"That is too short a time to judge limits by.",
			"oak   nest-heat  1      0        1       0      0         0      0\n",
			"elm   nest-cold  1      0        1       0      0         0      1\n",
			"urgent until acknowledged, median  4.0 min",
			"- sink-fault stood for more than a day of the site once",
			"- 9 Jan 2031: elm\n", // from noon to midnight
		} {
			if !strings.Contains(out, want) {
				t.Errorf("%q is not in:\n%s", want, out)
			}
		}
		if code != exitDone || errs != "" {
			t.Errorf("exit %d, said %q", code, errs)
		}
	})
	t.Run("quality as JSON", func(t *testing.T) {
		_, out, errs := alarmsSay(t, "quality", "--config", config, "--json")
		var r quality.Report
		if err := json.Unmarshal([]byte(out), &r); err != nil || r.Total.Alarms != 2 || r.Woken != 1 || len(r.Calls) != 2 || len(r.Figures) == 0 {
			t.Errorf("%v: %s%s", err, out, errs)
		}
	})
	for name, row := range map[string]struct {
		args []string
		want string
	}{
		"no day at all":       {[]string{"journal", "--days", "0"}, "--days 0 is out of range; write 1 to 366"},
		"more than is kept":   {[]string{"quality", "--days", "10000"}, "--days 10000 is out of range; write 1 to 366"},
		"a nest nobody knows": {[]string{"journal", "--nest", "ash"}, `nest "ash" is not in the configuration`},
		"another action":      {[]string{"forget"}, "write one of: ack, in-service, journal, list,"},
		"a word too many":     {[]string{"quality", "oak"}, `"oak" is not expected here`},
	} {
		t.Run(name, func(t *testing.T) {
			code, _, errs := alarmsSay(t, append(row.args[:1:1], append([]string{"--config", config}, row.args[1:]...)...)...)
			if code != exitWrongUse || !strings.Contains(errs, row.want) {
				t.Errorf("exit %d, said %q; want %q", code, errs, row.want)
			}
		})
	}
}

// What the advice names can be written, in the place that it names.
func TestAdviceNamesKeysThatExist(t *testing.T) {
	const all = `
site: {timezone: UTC, battery: bank, battery_low_v: 12}
probes: [{id: oak-air, source: recorded, interval: 2m, stale_after: 10m}, {id: bank, source: i2c, chip: ina219, bus: i2c-1, address: 0x40}]
nests: [{id: oak, kind: wooden-box, air: oak-air}]
limits:
  nest_air: [{from: 0, to: 3, cold_warn: 11, cold_critical: 5, heat_warn: 31, heat_critical: 36}]
  cluster: [{from: 0, to: 3, chill_warn: 33, chill_critical: 30, heat_warn: 39.6, heat_critical: 40.5}]
`
	file := filepath.Join(t.TempDir(), "F")
	if err := os.WriteFile(file, []byte(all), 0o600); err != nil {
		t.Fatal(err)
	}
	_, findings, err := loadConfig(file)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range findings {
		if f.severity == isError {
			t.Errorf("%+v", f)
		}
	}
	named := 0
	for _, name := range alarm.Names {
		for _, s := range []alarm.Severity{alarm.Warning, alarm.Urgent} {
			in := quality.Input{From: pastNow, To: pastNow.AddDate(0, 0, 7)}
			for i := range 8 {
				e := alarm.Event{Time: pastNow.Add(time.Duration(20*i) * time.Minute), Nest: "oak", Name: name, State: alarm.Raised, Severity: s, Limit: 31, HasLimit: true, Unit: "C"}
				over := e
				over.State, over.Time = alarm.Cleared, e.Time.Add(12*time.Minute)
				in.Events = append(in.Events, e, over)
			}
			for _, key := range strings.Split(strings.Join(quality.Measure(in).Advice, " "), "`") {
				if strings.Contains(key, " ") {
					continue
				}
				named++
				for part := range strings.SplitSeq(key, ".") {
					if !strings.Contains(all, part+":") {
						t.Errorf("%s: there is no key %q", name, key)
					}
				}
			}
		}
	}
	if named < 10 {
		t.Errorf("only %d keys are named", named)
	}
}

func TestJournalSaysHoursPlainly(t *testing.T) {
	for _, row := range []struct {
		v    float64
		unit string
		want string
	}{{0.03, "h", "1m48s"}, {26.5, "h", "26h30m"}, {-3.2, "C", "-3.2 °C (26.2 °F)"}, {91.26, "%", "91.3 %"}, {74, "", "74.0"}} {
		if got := withUnit(row.v, row.unit); got != row.want {
			t.Errorf("%v %s: got %q, want %q", row.v, row.unit, got, row.want)
		}
	}
}

// A daemon of the first minute has nothing to tell and does not fail.
func TestAlarmsOfNoPast(t *testing.T) {
	config := pastDoor(t, func(func(exporter.Commit)) {})
	if code, out, errs := alarmsSay(t, "journal", "--config", config); code != exitDone || out != "Nothing was raised and nothing done.\n" {
		t.Errorf("exit %d, %q, %q", code, out, errs)
	}
	code, out, errs := alarmsSay(t, "quality", "--config", config)
	if code != exitDone || !strings.Contains(out, "0 alarms in 0.0 nest-weeks") || strings.Contains(out, "NaN") {
		t.Errorf("exit %d, %q, got:\n%s", code, errs, out)
	}
}
