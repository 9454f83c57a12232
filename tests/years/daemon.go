package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"periph.io/x/conn/v3/onewire"

	"nestmon/tests/years/yearstest"
)

// pollEvery is the shortest interval a configuration may have.
const pollEvery = 5 * time.Second

// daemon is a running daemon, its polls watched from outside.
type daemon struct {
	dir, file string
	process   *exec.Cmd
	log       bytes.Buffer
	client    *http.Client
	stop      context.CancelFunc
	watched   chan struct{}
	apart     atomic.Int64 // most between two polls, ns
	polls     atomic.Int64
}

// start starts a daemon on an invented board with a DS18B20 in every place, and waits for its first poll.
func (r *rig) start(dir string, story *yearstest.Story) (*daemon, error) {
	d := &daemon{dir: dir, file: filepath.Join(dir, "nestmon.yaml"), watched: make(chan struct{})}
	n, text := 0, slave()
	var plant []string
	cfg := story.Config(fmt.Sprintf("data: %s\npoll: %s\nsite: {timezone: %s}\npublish: {page: {listen: none}}", dir, pollEvery, zone), func(string) string {
		n++
		rom := fmt.Sprintf("28-%012x", 0x0316a2790000+n)
		plant = append(plant, rom)
		return "source: w1, rom: " + rom
	})
	for _, rom := range plant {
		file := filepath.Join(dir, "sys/bus/w1/devices", rom, "w1_slave")
		if err := errors.Join(os.MkdirAll(filepath.Dir(file), 0o755), os.WriteFile(file, []byte(text), 0o600)); err != nil {
			return nil, err
		}
	}
	master := filepath.Join(dir, "sys/bus/w1/devices/w1_bus_master1/w1_master_slave_count")
	if err := errors.Join(os.MkdirAll(filepath.Dir(master), 0o755), os.WriteFile(master, []byte("61\n"), 0o600), os.WriteFile(d.file, []byte(cfg), 0o600)); err != nil {
		return nil, err
	}
	d.process = r.command("run", "--config", d.file, "--root", dir)
	d.process.Stdout, d.process.Stderr = &d.log, &d.log
	if err := d.process.Start(); err != nil {
		return nil, err
	}
	socket := filepath.Join(dir, "control.sock")
	d.client = &http.Client{Timeout: 30 * time.Second, Transport: &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, "unix", socket)
	}}}
	const patience = 5 * time.Minute
	for began := time.Now(); ; time.Sleep(100 * time.Millisecond) {
		if at, err := d.polled(); err == nil && !at.IsZero() {
			break
		} else if time.Since(began) > patience {
			d.end()
			return nil, fmt.Errorf("no poll: %w\n%s", err, d.log.String())
		}
	}
	ctx, stop := context.WithCancel(context.Background())
	d.stop = stop
	go d.watch(ctx)
	return d, nil
}

// slave is the kernel's file of a DS18B20 at 18 °C: its scratchpad and the CRC of that.
func slave() string {
	pad := []byte{0x20, 0x01, 0x4b, 0x46, 0x7f, 0xff, 0x0c, 0x10}
	crc := onewire.CalcCRC(pad)
	return fmt.Sprintf("% x %02x : crc=%02x YES\n% x %02x t=18000\n", pad, crc, crc, pad, crc)
}

// polled is the time of the newest poll.
func (d *daemon) polled() (time.Time, error) {
	res, err := d.client.Get("http://nestmon/api/state")
	if err != nil {
		return time.Time{}, err
	}
	defer res.Body.Close()
	var s struct{ Time time.Time }
	return s.Time, json.NewDecoder(res.Body).Decode(&s)
}

// watch notes how far apart polls are.
func (d *daemon) watch(ctx context.Context) {
	defer close(d.watched)
	var last time.Time
	for ctx.Err() == nil {
		at, err := d.polled()
		if err == nil && at.After(last) {
			if !last.IsZero() {
				d.apart.Store(max(d.apart.Load(), int64(at.Sub(last))))
			}
			last = at
			d.polls.Add(1)
		}
		time.Sleep(500 * time.Millisecond)
	}
}

// print says how the polls went and what the daemon weighs.
func (d *daemon) print() {
	fmt.Printf("polls every %s meanwhile: %d seen, at most %s apart\n", pollEvery, d.polls.Load(), time.Duration(d.apart.Load()).Round(time.Millisecond))
	if text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", d.process.Process.Pid)); err == nil {
		for line := range strings.Lines(string(text)) {
			if strings.HasPrefix(line, "VmRSS:") || strings.HasPrefix(line, "VmHWM:") {
				fmt.Print("daemon ", line)
			}
		}
	}
	for _, name := range []string{"book.db", "book.db-wal", "readings.db"} {
		if st, err := os.Stat(filepath.Join(d.dir, name)); err == nil {
			fmt.Printf("%s: %.2f MB\n", name, float64(st.Size())/1e6)
		}
	}
}

// end ends it.
func (d *daemon) end() {
	if d.stop != nil {
		d.stop()
		<-d.watched
	}
	_ = d.process.Process.Signal(syscall.SIGTERM)
	if err := d.process.Wait(); err != nil {
		fmt.Fprintf(os.Stderr, "years: the daemon ended with %v\n%s\n", err, d.log.String())
	}
}
