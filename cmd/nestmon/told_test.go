package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"runtime"
	"runtime/pprof"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"nestmon/sensors"
)

// The child of tests/soak finds these in its environment.
const (
	toldConfig = "NESTMON_TOLD_CONFIG"
	toldRoot   = "NESTMON_TOLD_ROOT"
	toldProf   = "NESTMON_TOLD_PROFILED" // empty for no profiles
)

// TestToldTheTime is `nestmon run` by a clock that whoever started it tells, so that a month passes in minutes: from the configuration's file, with the
// sources of the board below a folder. Everything else is as in run, and what waits by the machine's own clock, such as a sink that tries again, waits
// as long as it does there.
//
// It says "due" on standard output where it wants the time of the next poll, and reads a line: the time in ms since 1970, or "weigh" and a
// file for a profile of the heap, if any, which it answers with "weighed", the bytes of the heap that are left after a collection, and the goroutines. The end of
// the input ends it.
func TestToldTheTime(t *testing.T) {
	file, root := os.Getenv(toldConfig), os.Getenv(toldRoot)
	if file == "" {
		t.Skip("runs as a child of tests/soak alone")
	}
	// What a profile needs lies outside the heap and grows for weeks, with every new way to an allocation; the program that is shipped has none.
	if runtime.MemProfileRate = 4096; os.Getenv(toldProf) == "" {
		runtime.MemProfileRate = 0
	}
	cfg, findings, err := loadConfig(file)
	if err != nil || anyError(findings) {
		t.Fatal(err, findings)
	}
	ctx, cancel := context.WithCancel(t.Context())
	p := &toldPace{in: bufio.NewScanner(os.Stdin), end: cancel}
	p.now.Store(p.listen())
	log := slog.New(slog.NewTextHandler(os.Stderr, nil))
	if err := serveOf(ctx, cfg, parts{log: log, pace: p, root: root, trusted: func(time.Time) bool { return true }, sources: func() ([]sensors.Source, error) {
		sources, err := openBus(cfg, root, log)
		for i, s := range sources {
			sources[i] = stamped{s, p.Now}
		}
		return sources, err
	}}); err != nil {
		t.Fatal(err)
	}
}

// stamped reads by the told clock.
type stamped struct {
	sensors.Source
	now func() time.Time
}

func (s stamped) Read(ctx context.Context) []sensors.Reading {
	all := s.Source.Read(ctx)
	for i := range all {
		all[i].Time = s.now()
	}
	return all
}

type toldPace struct {
	in  *bufio.Scanner
	end func()
	now atomic.Pointer[time.Time]
}

// toldPatience is how long a poll waits for a bus, by the machine's clock: files answer at once, and one that hangs should not hold up the month.
const toldPatience = 200 * time.Millisecond

func (p *toldPace) Now() time.Time          { return *p.now.Load() }
func (p *toldPace) Deadline() time.Duration { return toldPatience }
func (p *toldPace) Begin() time.Time        { return p.Now() }

func (p *toldPace) Due() <-chan time.Time {
	due := make(chan time.Time, 1)
	go func() {
		fmt.Println("due")
		if next := p.listen(); next != nil {
			p.now.Store(next)
			due <- *next
			return
		}
		p.end()
	}()
	return due
}

// listen returns the next time that is told, nil where there is none.
func (p *toldPace) listen() *time.Time {
	for p.in.Scan() {
		if ms, err := strconv.ParseInt(p.in.Text(), 10, 64); err == nil {
			at := time.UnixMilli(ms)
			return &at
		}
		file := strings.TrimSpace(strings.TrimPrefix(p.in.Text(), "weigh"))
		var m runtime.MemStats
		runtime.GC()
		runtime.GC() // what had a finalizer goes with the second
		runtime.ReadMemStats(&m)
		if err := profile(file); err != nil {
			fmt.Fprintln(os.Stderr, err)
		}
		fmt.Println("weighed", m.HeapAlloc, runtime.NumGoroutine())
	}
	return nil
}

// profile writes what holds the heap into a file, where one is named.
func profile(file string) error {
	if file == "" {
		return nil
	}
	f, err := os.Create(file)
	if err != nil {
		return err
	}
	return errors.Join(pprof.WriteHeapProfile(f), f.Close())
}
