package main

import (
	"context"
	"errors"
	"io/fs"
	"log/slog"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"nestmon/dashboards"
	"nestmon/exporter/web"
	"nestmon/sensors"
	"nestmon/sensors/icepoint"
	"nestmon/sensors/offsets"
	"nestmon/sensors/warmed"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/litter"
)

const benchConfig = `
site: {id: shed}
data: DATA
poll: 30s
probes:
  - {id: a1-air, source: w1, rom: 28-000000000001}
  - {id: a1-cluster, source: w1, rom: 28-000000000002}
  - {id: b1-air, source: w1, rom: 28-000000000003}
nests:
  - {id: a1, kind: wooden-box, air: a1-air, cluster: [a1-cluster]}
  - {id: b1, kind: wooden-box, air: b1-air}
`

// atBench runs the daemon on the wall's files, in a bubble of time, while do works at its bench. Warmth says what a probe's chip reads, s after
// the begin.
func atBench(t *testing.T, text string, warmth func(rom string, s float64) float64, do func(t *testing.T, d *daemon)) {
	t.Helper()
	w := newWall(t)
	roms := []string{"28-000000000001", "28-000000000002", "28-000000000003"}
	for _, rom := range roms {
		w.slave("w1_bus_master1", rom, warmth(rom, 0), 0x10)
	}
	cfg, findings, err := loadConfig(w.config(text))
	if err != nil || anyError(findings) {
		t.Fatal(err, findings)
	}
	if _, _, err := cfg.takeOffsets(w.root, time.Now()); err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		log := slog.New(slog.DiscardHandler)
		d, err := newDaemon(cfg, parts{
			log: log, pace: plainPace(cfg.Poll), root: w.root, trusted: func(time.Time) bool { return true },
			sources: func() ([]sensors.Source, error) { return openBus(cfg, w.root, log) },
		})
		if err != nil {
			t.Fatal(err)
		}
		ctx, end := context.WithCancel(t.Context())
		was := map[string]float64{}
		begin, ended, still := time.Now(), make(chan error), make(chan struct{})
		go func() { ended <- d.run(ctx) }()
		go func() {
			defer close(still)
			pause(ctx, 370*time.Millisecond) // never while they are read
			for ctx.Err() == nil {
				for _, rom := range roms {
					if c := math.Round(16*warmth(rom, time.Since(begin).Seconds())) / 16; c != was[rom] {
						w.slave("w1_bus_master1", rom, c, 0x10)
						was[rom] = c
					}
				}
				pause(ctx, time.Second)
			}
		}()
		time.Sleep(cfg.Poll + time.Second)
		do(t, d)
		end()
		<-still
		ending, done := context.WithTimeout(context.Background(), 10*time.Second)
		defer done()
		if err := errors.Join(<-ended, d.stop(ending)); err != nil {
			t.Error(err)
		}
	})
}

// follow returns the work when until is true of it, or the last.
func follow(t *testing.T, d *daemon, until func(web.Work) bool) (w web.Work) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Hour)
	defer cancel()
	d.bench.Follow(ctx, func(now web.Work) bool {
		w = now
		return !until(now)
	})
	return w
}

// A probe is gripped a minute after the begin, and again let go.
func TestThePageNamesTheWarmedProbe(t *testing.T) {
	warmth := func(rom string, s float64) float64 {
		if rom == "28-000000000002" && s > 90 {
			return 12 + 20*(1-math.Exp(-(s-90)/30))
		}
		return 12
	}
	atBench(t, benchConfig, warmth, func(t *testing.T, d *daemon) {
		if got := d.bench.Doing(); got != "" {
			t.Errorf("before anything: %q is under way", got)
		}
		if err := errors.Join(d.bench.Warm(t.Context()), d.bench.Warm(t.Context())); err != nil {
			t.Fatal(err)
		}
		if err := d.bench.Ice(t.Context(), "a1-cluster", true); err == nil || !strings.Contains(err.Error(), "looking for a probe") {
			t.Errorf("ice beside it: %v", err)
		}
		w := follow(t, d, func(w web.Work) bool { return w.Warm.State == "waiting" })
		if w.Warm.Round > 7 || len(w.Warm.Bars) != 3 {
			t.Errorf("probes are read once in %v s between polls of 30 s: %+v", w.Warm.Round, w.Warm.Bars)
		}
		w = follow(t, d, func(w web.Work) bool { return len(w.Warm.Found) > 0 })
		if f := w.Warm.Found; len(f) != 1 || f[0].Probe != "a1-cluster" || f[0].Sure == string(probably) {
			t.Errorf("found %+v", f)
		}
		for _, bar := range w.Warm.Bars {
			if held := bar.Probe == "a1-cluster"; bar.Rise == nil || held != (*bar.Rise > 1) {
				t.Errorf("%s rose by %v", bar.Probe, *bar.Rise)
			}
		}
		// What was read between polls reached nobody else: the counts are those of the polls.
		polls := uint64(time.Since(d.started)/d.cfg.Poll) + 1
		for _, h := range d.judge.tracker.Health() {
			if h.Reads != polls || h.Errors != 0 {
				t.Errorf("%s: %d readings in %d polls, errors %v", h.Probe, h.Reads, polls, h.Errors)
			}
		}
		// Nobody follows any more.
		time.Sleep(benchLeave + 2*benchStep)
		if got := d.bench.Doing(); got != "" {
			t.Errorf("nobody follows, and %q goes on", got)
		}
		w2 := &warming{began: time.Now(), watch: warmed.New(0)}
		if w2.step(time.Now().Add(warmFor - time.Second)); w2.over() {
			t.Error("it ends too soon")
		}
		if w2.step(time.Now().Add(warmFor)); !w2.over() {
			t.Error("it does not end by itself")
		}
	})
}

func TestThePageComparesAProbeWithIce(t *testing.T) {
	warmth := func(rom string, s float64) float64 {
		if rom == "28-000000000003" {
			return dipped(0.3125)(s)
		}
		return 12
	}
	atBench(t, benchConfig, warmth, func(t *testing.T, d *daemon) {
		if err := d.bench.Ice(t.Context(), "b1-air", false); !errors.Is(err, web.ErrUnsure) {
			t.Errorf("the only probe of a nest in which kits may lie: %v", err)
		}
		if err := d.bench.Ice(t.Context(), "a1-air", false); err != nil {
			t.Errorf("one of two: %v", err)
		}
		if err := d.bench.End(t.Context()); err != nil {
			t.Error(err)
		}
		if w := follow(t, d, func(web.Work) bool { return true }); !w.Over || w.Ice.State != stopped {
			t.Errorf("stopped: %+v", w)
		}
		if err := d.bench.Ice(t.Context(), "b1-air", true); err != nil {
			t.Fatal(err)
		}
		w := follow(t, d, func(w web.Work) bool { return w.Ice.State == "settling" })
		if w.Ice.Left <= 0 || len(w.Ice.Trace) == 0 {
			t.Errorf("settling: %+v", w.Ice)
		}
		w = follow(t, d, func(web.Work) bool { return false })
		got := w.Ice
		if !got.Stored || got.Offset == nil || got.Offset.Temperature != -0.31 || got.Readings < 20 || !strings.Contains(got.Line, "offset: {temperature: -0.31, date: ") {
			t.Errorf("got %+v", got)
		}
		book, _, err := offsets.Load(d.cfg.Data, time.Now(), time.UTC)
		r, ok := book.Of("w1", "28-000000000003")
		if err != nil || !ok || r.Temperature != -0.31 || r.Probe != "b1-air" || r.Chip != sensors.ChipDS18B20 {
			t.Errorf("stored %+v, %v", r, err)
		}
		// It counts from the next start, as that of the command; and not where the configuration holds another.
		p := d.bench.Probes()[2]
		if p.Waiting == nil || p.Waiting.Temperature != -0.31 || *p.Nest != "b1" || *p.Role != "air" || *p.Bus != "w1-1" || p.Identity != "28-000000000003" || !p.Watched || p.Ice != nil || *p.Only != "b1" || !slices.Contains(p.Raises, alarm.NestCold) {
			t.Errorf("listed as %+v", p)
		}
		if got := d.cfg.probes()[2].Offset; got != (sensors.Offset{}) {
			t.Errorf("it counts already: %+v", got)
		}
		events, err := d.archive.Events(d.started, time.Now(), 100)
		if err != nil {
			t.Error(err)
		}
		for _, e := range events {
			if e.Nest == "b1" && !slices.Contains(p.Raises, e.Name) {
				t.Errorf("%s came of it, and was not told of: %v", e.Name, p.Raises)
			}
		}
		own := &dipping{b: d.bench, probe: &d.cfg.Probes[2], byHand: true}
		if own.store(r); !own.shown.Stored || !strings.Contains(own.shown.Trouble, "it wins") {
			t.Errorf("beside the configuration's: %+v", own.shown)
		}
		applied, _, err := d.cfg.takeOffsets(d.bench.root, time.Now())
		if err != nil || len(applied) != 1 || applied[0].Temperature != -0.31 {
			t.Errorf("the next start takes %v, %v", applied, err)
		}
	})
}

func TestWhatDoesNotGoIntoIce(t *testing.T) {
	celsius, both := []sensors.Quantity{sensors.Temperature}, []sensors.Quantity{sensors.Temperature, sensors.Humidity}
	for _, row := range []struct {
		source, device string
		have           sensors.Probe
		want           string
	}{
		{"w1", "", sensors.Probe{Quantities: celsius}, ""},
		{"i2c", "", sensors.Probe{Quantities: both, Chip: sensors.ChipSHT4x}, "water ruins it"},
		{"kernel", "", sensors.Probe{Quantities: both}, "water ruins it"},
		{"kernel", "sht4x", sensors.Probe{Quantities: celsius}, "water ruins it"},
		{"radio", "", sensors.Probe{Quantities: celsius}, "speaks too seldom"},
		{"i2c", "", sensors.Probe{Quantities: []sensors.Quantity{sensors.Voltage}}, "measures no temperature"},
	} {
		err := mayFreeze(&probeConfig{Entry: sensors.Entry{ID: "p", Source: row.source}, Device: row.device}, row.have)
		if (err == nil) != (row.want == "") || err != nil && !strings.Contains(err.Error(), row.want) {
			t.Errorf("%+v: %v, want %q", row, err, row.want)
		}
	}
}

// The page has words for whatever the bench may say.
func TestThePageHasWordsForTheBench(t *testing.T) {
	catalogue, err := fs.ReadFile(dashboards.Page(), "texts.js")
	if err != nil {
		t.Fatal(err)
	}
	names := []string{stopped, "waiting", string(sure), string(fairly), string(probably)}
	for _, s := range icepoint.States {
		names = append(names, string(s))
	}
	names = append(append(names, warmStates[:]...), sensors.Methods...)
	for _, name := range names {
		if key := regexp.MustCompile(`[{,\s]"?` + regexp.QuoteMeta(name) + `"?: `); !key.Match(catalogue) {
			t.Errorf("texts.js has no words for %q", name)
		}
	}
}

// The alarms that a probe in ice raises, when kits lie in its nest: all of them are told before.
func TestAlarmsOfAProbeInIce(t *testing.T) {
	for _, role := range []string{"air", "cluster"} {
		t.Run(role, func(t *testing.T) {
			begin := time.Date(2031, 3, 9, 6, 0, 0, 0, time.UTC)
			cfg, findings := parseConfig([]byte(strings.Replace(benchConfig, "data: DATA", "data: archive", 1)), begin)
			if anyError(findings) {
				t.Fatal(findings)
			}
			j, err := newJudge(cfg.rabbitry())
			if err != nil {
				t.Fatal(err)
			}
			j.rabbitry.SetLitters([]litter.Litter{{ID: 1, Nest: "a1", Kindled: begin.AddDate(0, 0, -4), Born: 7}}, begin)
			raised := map[alarm.Name]bool{}
			for at := begin; at.Before(begin.Add(8 * time.Hour)); at = at.Add(cfg.Poll) {
				readings := []sensors.Reading{{Probe: "a1-air", Value: 18}, {Probe: "a1-cluster", Value: 37 + 0.1*math.Sin(at.Sub(begin).Hours()*9)}, {Probe: "b1-air", Value: 15}}
				if in := at.Sub(begin.Add(7 * time.Hour)); in > 0 && in < 40*time.Minute {
					readings[map[string]int{"air": 0, "cluster": 1}[role]].Value = 0.25
				}
				for i := range readings {
					readings[i].Time = at
				}
				for _, e := range j.observe(at, readings) {
					if e.State == alarm.Raised && e.Nest == "a1" && at.After(begin.Add(7*time.Hour)) && !e.Name.Chore() {
						raised[e.Name] = true
					}
				}
			}
			for name := range raised {
				if !slices.Contains(frozen[thresholds.Role(role)], name) {
					t.Errorf("%s came of it, and is not told of: %v", name, frozen[thresholds.Role(role)])
				}
			}
			if len(raised) == 0 {
				t.Error("nothing came of it")
			}
		})
	}
}
