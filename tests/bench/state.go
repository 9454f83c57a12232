package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"time"

	"nestmon/exporter/archive"
	"nestmon/sensors"
	"nestmon/sensors/screen"
	"nestmon/thresholds"
	"nestmon/thresholds/nest"
)

// stateEvery is how often the daemon keeps its state.
const stateEvery = 15 * time.Minute

// state prints what is remembered of a probe: in memory, as saved, and as it lies on the card; and what keeping it costs the card.
func state(w io.Writer, _, dir string) error {
	for _, second := range []bool{false, true} {
		lived, probes, err := live(second)
		if err != nil {
			return err
		}
		saved := lived.rabbitry.Save(lived.screen.State()...)
		a, err := archive.Open(filepath.Join(dir, fmt.Sprint(second)), archive.Options{})
		if err != nil {
			return err
		}
		if err := a.PutState(saved); err != nil {
			return err
		}
		info, err := os.Stat(filepath.Join(dir, fmt.Sprint(second), "state"))
		if err != nil {
			return err
		}
		if err := a.Close(); err != nil {
			return err
		}
		per := func(n int64, of int) float64 { return float64(n) / float64(of) }
		fmt.Fprintf(w, "%d nests, %d probes: state in bytes per probe: saved %.0f, packed on the card %.0f, in memory %.0f (all of it, texts and configuration too)\n",
			nests, probes, per(int64(len(saved)), probes), per(info.Size(), probes), per(lived.heap, probes))
		fmt.Fprintf(w, "  per nest: saved %.0f, packed %.0f; kept every %v that is %.2f MB/day for these nests, %.2f for four\n",
			per(int64(len(saved)), nests), per(info.Size(), nests), stateEvery,
			float64(info.Size())*float64(24*time.Hour/stateEvery)/1e6, float64(info.Size())*4/nests*float64(24*time.Hour/stateEvery)/1e6)
	}
	whereBytesAre(w, reflect.TypeFor[nest.Watch]())
	return nil
}

// lived is a rabbitry after days, and how much memory it came to hold.
type lived struct {
	screen   *screen.Screen
	rabbitry *thresholds.Rabbitry
	heap     int64
}

func live(second bool) (l lived, probes int, err error) {
	const polls = 3 * 2880 / 2 // three days of every other poll
	before := heap()
	cfg := domain(second)
	if l.rabbitry, err = thresholds.New(cfg); err != nil {
		return l, 0, err
	}
	l.rabbitry.SetLitters(litters(cfg), start())
	l.screen = newScreen(cfg)
	var batch []sensors.Reading
	for i := range polls {
		at := start().Add(time.Duration(2*i) * poll)
		batch = readings(batch[:0], second, 2*i, at)
		l.screen.Apply(batch)
		l.rabbitry.Observe(at, batch)
	}
	probes, batch = len(cfg.Probes), nil
	cfg = thresholds.Config{}
	l.heap = heap() - before
	return l, probes, nil
}

func heap() int64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc)
}

// whereBytesAre prints the largest fields of a struct.
func whereBytesAre(w io.Writer, t reflect.Type) {
	fields := slices.SortedFunc(func(yield func(reflect.StructField) bool) {
		for i := range t.NumField() {
			if !yield(t.Field(i)) {
				return
			}
		}
	}, func(a, b reflect.StructField) int { return int(b.Type.Size()) - int(a.Type.Size()) })
	fmt.Fprintf(w, "a nest's own %d bytes, the largest:", t.Size())
	for _, f := range fields[:8] {
		fmt.Fprintf(w, " %s %d,", f.Name, f.Type.Size())
	}
	fmt.Fprintln(w, " and what they point to")
}
