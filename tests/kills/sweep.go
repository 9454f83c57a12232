package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/tests/kills/disk"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/book"
)

// rounds of the script: enough for the logs of both databases to grow and be moved into their files at the end.
const rounds = 25

// script writes everything that an archive can hold, and marks what was promised. Between two promises of one kind stands one write.
func script(dir string, promise func(kind string, n int)) error {
	a, err := archive.Open(dir, archive.Options{Probes: stored(), Now: time.Now, Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		return err
	}
	if err := a.SetChannels([]string{"mobile"}); err != nil {
		return errors.Join(err, a.Close())
	}
	begin := time.Now().Add(-time.Hour).Truncate(time.Second)
	for n := 1; n <= rounds; n++ {
		at := begin.Add(time.Duration(n) * pollEvery)
		c := exporter.Commit{Time: at, Synced: true, StandingChanged: true}
		for _, p := range stored() {
			c.Readings = append(c.Readings, sensors.Reading{Probe: p.ID, Quantity: sensors.Temperature, Time: at, Value: float64(n)})
		}
		e := alarm.Event{Time: at, Nest: "n1", Name: alarm.NestHeat, State: alarm.Raised, Severity: alarm.Warning}
		c.Events, c.Standing = []alarm.Event{e}, []alarm.Standing{{Event: e}}
		c.Messages = []exporter.Message{{ID: strconv.Itoa(n), Time: at, Title: "hot", Event: e}}
		for _, w := range []struct {
			kind string
			do   func() error
		}{
			{"state", func() error { return a.PutState(bytes.Repeat(fmt.Append(nil, n, ","), 400)) }},
			{"limits", func() error { return a.PutLimits(fmt.Appendf(nil, `{"revision": %d}`, n)) }},
			{"entry", func() error {
				return a.PutEntries([]book.Entry{{ID: int64(n), What: book.Noted, Note: strconv.Itoa(n)}})
			}},
			{"poll", func() error { return a.Commit(c) }},
		} {
			if err := w.do(); err != nil {
				return errors.Join(fmt.Errorf("%s %d: %w", w.kind, n, err), a.Close())
			}
			promise(w.kind, n)
		}
	}
	return a.Close()
}

// sweep runs the script once and looks at what a cut after each of its operations would leave, with every luck.
func sweep(r *rig, seed uint64) (bool, error) {
	d, dir := disk.New(nil), filepath.Join(r.dir, "swept")
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return false, err
	}
	unmount, err := d.Mount(dir)
	if err != nil {
		return false, err
	}
	err = script(dir, func(kind string, n int) { d.Note(fmt.Sprint(kind, " ", n)) })
	if err = errors.Join(err, unmount()); err != nil {
		return false, err
	}
	log, random := d.Log(), rand.New(rand.NewPCG(seed, 5))
	again, promised, looked, wrong := disk.New(nil), map[string]int{}, 0, 0
	for i, op := range log {
		if err := again.Do(op); err != nil {
			return false, err
		}
		if op.Kind == disk.Mark {
			kind, n, _ := strings.Cut(op.Name, " ")
			if promised[kind], err = strconv.Atoi(n); err != nil {
				return false, err
			}
			continue
		}
		for luck := range disk.Lucks {
			looked++
			left := filepath.Join(r.dir, "left")
			if err := lay(left, again.Image(luck, random)); err != nil {
				return false, err
			}
			if err := whole(left, promised); err != nil {
				if wrong++; wrong <= mostLines {
					fmt.Printf("  cut after operation %d (%s %s), luck %d: %v\n", i, op.Kind, op.Name, luck, err)
				}
			}
		}
	}
	fmt.Printf("%d operations, %d cuts looked at: %d left neither the old nor the new\n", d.Ops(), looked, wrong)
	return wrong == 0, nil
}

// lay makes a folder hold exactly these files.
func lay(dir string, files disk.Files) error {
	if err := errors.Join(os.RemoveAll(dir), os.MkdirAll(dir, 0o750)); err != nil {
		return err
	}
	for name, b := range files {
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
			return err
		}
	}
	return nil
}

// whole looks for what was promised: of each kind what was promised last or what was written next.
func whole(dir string, promised map[string]int) (err error) {
	next := func(kind string, n int) error {
		if n != promised[kind] && n != promised[kind]+1 {
			return fmt.Errorf("%s %d, promised was %d", kind, n, promised[kind])
		}
		return nil
	}
	if b, err := os.ReadFile(filepath.Join(dir, archive.LimitsFile)); err == nil {
		var limits struct{ Revision int }
		if err := errors.Join(json.Unmarshal(b, &limits), next("limits", limits.Revision)); err != nil {
			return fmt.Errorf("limits: %w", err)
		}
	} else if promised["limits"] > 0 {
		return err
	}
	a, err := openArchive(dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, a.Close()) }()
	if aside := a.SetAside(); len(aside) > 0 {
		return fmt.Errorf("set aside: %q", aside)
	}
	kept, err := a.State()
	if err != nil {
		return err
	}
	if n, _, _ := bytes.Cut(kept, []byte(",")); len(kept) > 0 || promised["state"] > 0 {
		n, err := strconv.Atoi(string(n))
		if err = errors.Join(err, next("state", n)); err != nil {
			return fmt.Errorf("state: %w", err)
		}
	}
	entries, err := a.Entries()
	if err == nil {
		err = next("entry", len(entries))
	}
	if err != nil {
		return err
	}
	now := time.Now().Add(time.Hour)
	events, err := a.Events(now.AddDate(0, 0, -2), now, rounds+1)
	if err == nil {
		err = next("poll", len(events))
	}
	standing, serr := a.Standing()
	if err = errors.Join(err, serr); err != nil {
		return fmt.Errorf("events: %w", err)
	}
	if n, _, err := a.Waiting("mobile"); err != nil || int(n) != len(events) || len(events) > 0 && (len(standing) != 1 || !standing[0].Time.Equal(events[0].Time)) {
		return fmt.Errorf("%d messages and %d alarms that stand with %d events: %w", n, len(standing), len(events), err)
	}
	n := 0
	return a.PollsBetween(now.AddDate(0, 0, -2), now, func(p exporter.StoredPoll) error {
		if n++; len(p.Readings) != len(stored()) || p.Readings[0].Value != float64(n) {
			return fmt.Errorf("poll %d holds %v", n, p.Readings)
		}
		return nil
	})
}
