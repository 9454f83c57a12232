package main

import (
	"database/sql"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"time"

	_ "modernc.org/sqlite" // the naive layouts beside which the archive is measured

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/thresholds/alarm"
)

const (
	archivePoll   = 30 * time.Second
	pollsADay     = int(24 * time.Hour / archivePoll)
	pollsAWeek    = 7 * pollsADay
	eventsADay    = 24 // each with a message; ours, no source
	graphBuckets  = 500
	manySeries    = 90 // 30 nests
	defaultSeries = 12 // 4 nests
)

// archiveProbes has two series a probe.
func archiveProbes(series int) []sensors.Probe {
	var out []sensors.Probe
	for i := range series / 2 {
		out = append(out, sensors.Probe{
			ID: fmt.Sprintf("p%d", i), Interval: archivePoll,
			Quantities: []sensors.Quantity{sensors.Temperature, sensors.Humidity},
		})
	}
	return out
}

// archiveValue is an invented slow swing with some noise of its own.
func archiveValue(poll, series int) float64 {
	t := float64(poll)
	return 25 + 8*math.Sin(t/450+float64(series)) + 0.2*math.Sin(t*1.7+3*float64(series))
}

// archiveCommit is one poll of a day with some events, each of which has a message.
func archiveCommit(probes []sensors.Probe, start time.Time, i int) exporter.Commit {
	at := start.Add(time.Duration(i) * archivePoll)
	c := exporter.Commit{Time: at, Synced: true}
	for _, p := range probes {
		for _, q := range p.Quantities {
			c.Readings = append(c.Readings, sensors.Reading{Probe: p.ID, Quantity: q, Time: at, Value: archiveValue(i, len(c.Readings))})
		}
	}
	if i%(pollsADay/eventsADay) == 0 {
		e := alarm.Event{Time: at, Since: at, Nest: "a1", Name: alarm.NestHeat, State: alarm.Raised, Severity: alarm.Warning, Text: "warm: open the lid and look"}
		c.Events, c.StandingChanged, c.Standing = []alarm.Event{e}, true, []alarm.Standing{{Event: e}}
		c.Messages = []exporter.Message{{ID: fmt.Sprint(i), Time: at, Title: e.Text, Body: e.Text, Event: e}}
	}
	return c
}

// written is what the kernel counted for this process.
type written struct{ write, disk int64 } // bytes given to write calls; bytes of pages made dirty

func writtenSoFar() (written, error) {
	f, err := os.Open("/proc/self/io")
	if err != nil {
		return written{}, fmt.Errorf("counting written bytes needs Linux: %w", err)
	}
	defer func() { _ = f.Close() }() // only read
	var w written
	for {
		var name string
		var n int64
		_, err := fmt.Fscan(f, &name, &n)
		if errors.Is(err, io.EOF) {
			return w, nil
		}
		if err != nil {
			return w, err
		}
		switch name {
		case "wchar:":
			w.write = n
		case "write_bytes:":
			w.disk = n
		}
	}
}

// archiveWrites prints what the archive writes in a day, scaled from that many polls, beside a row for each sample and series.
//
// Three figures each, for none alone is the truth on a card. 'given' is the bytes of all write calls, which are the frames of
// the log and the pages copied from it into the file. 'accelerated' is what the kernel counts while the polls follow each
// other at once; pages written again and again before they reach the disk count once. 'spaced' makes every file reach the disk
// after each poll, as the kernel does by itself within thirty seconds: whole 4 KiB pages, mapped ones too. The file system's
// own journal comes on top.
func archiveWrites(w io.Writer, polls int) error {
	for _, series := range []int{manySeries, defaultSeries} {
		var ratio [3]float64
		for i, layout := range []struct {
			name string
			run  func(dir string, series, polls int, spaced bool) (written, error)
		}{{"archive", writeArchive}, {"row per sample", writeNaive}} {
			fast, err := inFolder(func(dir string) (written, error) { return layout.run(dir, series, polls, false) })
			if err != nil {
				return err
			}
			spacedPolls := max(polls/4, 1) // slow: the disk is waited for
			slow, err := inFolder(func(dir string) (written, error) { return layout.run(dir, series, spacedPolls, true) })
			if err != nil {
				return err
			}
			day := func(bytes int64, polls int) float64 {
				return float64(bytes) * float64(pollsADay) / float64(polls) / 1e6
			}
			figures := [3]float64{day(fast.write, polls), day(fast.disk, polls), day(slow.disk, spacedPolls)}
			fmt.Fprintf(w, "card writes, %d series, %-14s  given %7.1f  accelerated %7.1f  spaced %7.1f MB/day (%d polls)\n",
				series, layout.name, figures[0], figures[1], figures[2], polls)
			if i == 0 {
				ratio = figures
				continue
			}
			for k := range ratio {
				ratio[k] = figures[k] / ratio[k]
			}
		}
		fmt.Fprintf(w, "card writes, %d series, row per sample / archive: given %.0fx  accelerated %.0fx  spaced %.0fx\n", series, ratio[0], ratio[1], ratio[2])
	}
	return nil
}

func inFolder(f func(dir string) (written, error)) (w written, err error) {
	dir, err := os.MkdirTemp(".", ".bench-*") // not the folder for temporary files: it may be memory, which counts no writes
	if err != nil {
		return written{}, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	return f(dir)
}

func writeArchive(dir string, series, polls int, spaced bool) (w written, err error) {
	probes, start := archiveProbes(series), time.Now().Truncate(time.Hour)
	a, err := archive.Open(dir, archive.Options{Probes: probes})
	if err != nil {
		return written{}, err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	if err := a.SetChannels([]string{"phone"}); err != nil {
		return written{}, err
	}
	if err := a.Commit(archiveCommit(probes, start, 0)); err != nil {
		return written{}, err
	}
	return measured(dir, polls, spaced, func(i int) error {
		c := archiveCommit(probes, start, i+1)
		if err := a.Commit(c); err != nil {
			return err
		}
		for _, m := range c.Messages {
			if err := a.Sent("phone", m.ID, c.Time); err != nil {
				return err
			}
		}
		return a.SetCursor("influx", c.Time.Unix()) // a sink that keeps up
	})
}

func writeNaive(dir string, series, polls int, spaced bool) (w written, err error) {
	db, err := sql.Open("sqlite", "file:"+filepath.Join(dir, "naive.db")+"?_journal_mode=WAL&_synchronous=NORMAL")
	if err != nil {
		return written{}, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	db.SetMaxOpenConns(1)
	if _, err := db.Exec("CREATE TABLE samples (series INTEGER, time INTEGER, value REAL, PRIMARY KEY (series, time)) WITHOUT ROWID"); err != nil {
		return written{}, err
	}
	start := time.Now().Unix()
	return measured(dir, polls, spaced, func(i int) error {
		tx, err := db.Begin()
		if err != nil {
			return err
		}
		defer tx.Rollback() //nolint:errcheck // does nothing after Commit
		for s := range series {
			if _, err := tx.Exec("INSERT INTO samples VALUES (?, ?, ?)", s, start+int64(i)*30, archiveValue(i, s)); err != nil {
				return err
			}
		}
		return tx.Commit()
	})
}

func measured(dir string, polls int, spaced bool, poll func(i int) error) (written, error) {
	names, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil {
		return written{}, err
	}
	var files []*os.File
	for _, name := range names {
		f, err := os.Open(name)
		if err != nil {
			return written{}, err
		}
		defer func() { _ = f.Close() }() // only read
		files = append(files, f)
	}
	before, err := writtenSoFar()
	if err != nil {
		return written{}, err
	}
	for i := range polls {
		if err := poll(i); err != nil {
			return written{}, err
		}
		for _, f := range files {
			if !spaced {
				break
			}
			if err := f.Sync(); err != nil {
				return written{}, err
			}
		}
	}
	after, err := writtenSoFar()
	return written{after.write - before.write, after.disk - before.disk}, err
}

func ms(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

type timing struct{ best, median time.Duration }

func timed(times int, f func() error) (timing, error) {
	took := make([]time.Duration, times)
	for i := range took {
		began := time.Now()
		if err := f(); err != nil {
			return timing{}, err
		}
		took[i] = time.Since(began)
	}
	slices.Sort(took)
	return timing{took[0], took[times/2]}, nil
}
