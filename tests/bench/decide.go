package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/recorded"
	"nestmon/thresholds"
)

// start is where the invented readings begin.
func start() time.Time { return time.Date(2026, time.March, 1, 0, 0, 0, 0, time.UTC) }

// decide prints what one reading costs on its way through screen and all detectors, on one core, beside what parsing it from a file costs.
func decide(w io.Writer, _, dir string) error {
	const rows, polls = 400_000, 2 * 2880 // two days
	file := filepath.Join(dir, "readings.csv")
	written, err := writeReadings(file, rows)
	if err != nil {
		return err
	}
	took, err := parse(file)
	if err != nil {
		return err
	}
	each := func(d time.Duration, count int) float64 { return float64(d.Nanoseconds()) / float64(count) / 1e3 }
	parsed := each(took, written)
	fmt.Fprintf(w, "parsing a reading from CSV: %.2f µs\n", parsed)
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	for _, second := range []bool{false, true} {
		cfg := domain(second)
		rabbitry, err := thresholds.New(cfg)
		if err != nil {
			return err
		}
		rabbitry.SetLitters(litters(cfg), start())
		validator := newScreen(cfg)
		var screened, decided time.Duration
		var batch []sensors.Reading
		count := 0
		for i := range polls {
			at := start().Add(time.Duration(i) * poll)
			batch = readings(batch[:0], second, i, at)
			began := time.Now()
			validator.Apply(batch)
			between := time.Now()
			rabbitry.Observe(at, batch)
			decided += time.Since(between)
			screened += between.Sub(began)
			count += len(batch)
		}
		all := each(screened+decided, count)
		fmt.Fprintf(w, "%d nests, %d probes: a reading through screen and all detectors %.2f µs, %.1f times parsing it (screen %.2f, detectors %.2f; %d readings)\n",
			nests, len(cfg.Probes), all, all/parsed, each(screened, count), each(decided, count), count)
	}
	return nil
}

// replay prints the rate of a whole `nestmon replay`, on one core and on all, beside parsing the same file.
func replay(w io.Writer, program, dir string, rows int) error {
	file, cfg := filepath.Join(dir, "readings.csv"), filepath.Join(dir, "nestmon.yaml")
	count, err := writeReadings(file, rows)
	if err != nil {
		return err
	}
	text := configFile("poll: 30s", func(string) string { return "source: recorded" })
	if err := os.WriteFile(cfg, []byte(text), 0o644); err != nil {
		return err
	}
	parsed, err := parse(file)
	if err != nil {
		return err
	}
	rate := func(d time.Duration) float64 { return float64(count) / d.Seconds() / 1e3 }
	fmt.Fprintf(w, "parsing alone, one core: %.0f thousand readings/s\n", rate(parsed))
	for _, cores := range []string{"1", fmt.Sprint(runtime.NumCPU())} {
		c := exec.Command(program, "replay", "--config", cfg, "--readings", file, "--events", os.DevNull)
		c.Env = append(os.Environ(), "GOMAXPROCS="+cores)
		began := time.Now()
		if out, err := c.CombinedOutput(); err != nil {
			return fmt.Errorf("replay: %w\n%s", err, out)
		}
		took := time.Since(began)
		fmt.Fprintf(w, "replay, GOMAXPROCS=%s: %.0f thousand readings/s, %.1f times as long as parsing\n", cores, rate(took), took.Seconds()/parsed.Seconds())
	}
	return nil
}

func writeReadings(file string, rows int) (count int, err error) {
	f, err := os.Create(file)
	if err != nil {
		return 0, err
	}
	b := bufio.NewWriter(f)
	fmt.Fprintln(b, "time,probe,temperature_c,humidity_pct")
	for i := 0; rows > 0; i++ {
		at := start().Add(time.Duration(i) * poll).Format(time.RFC3339)
		for n := range nests {
			fmt.Fprintf(b, "%s,%s,%.2f,\n%s,%s,%.2f,%.2f\n", at, clusterID(n), swing(n, i, 36.5, 0.8), at, airID(n), swing(n, i, 22, 6), swing(n, i, 65, 12))
			rows -= 2
			count += 3
		}
	}
	return count, errors.Join(b.Flush(), f.Close())
}

// parse reads the file and does nothing with it.
func parse(file string) (time.Duration, error) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	f, err := os.Open(file)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	began := time.Now()
	for r := recorded.NewReader(f, file, time.UTC); ; {
		if _, err := r.Next(); errors.Is(err, io.EOF) {
			return time.Since(began), nil
		} else if err != nil {
			return 0, err
		}
	}
}
