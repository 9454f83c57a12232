package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"time"
)

// Aims; the conversion of a probe comes on top of the first, which files do not have.
const (
	firstWithin = time.Second
	endWithin   = 10 * time.Second
	starts      = 20
	ends        = 3
)

// times measures the way to the first reading on an archive that was just killed, and the end while everything hangs.
func times(_ context.Context, r *rig) (bool, error) {
	b, err := newBoard(r.program, filepath.Join(r.dir, "times"), "publish: {page: {listen: none}}\n")
	if err != nil {
		return false, err
	}
	var first []time.Duration
	for range starts {
		began := time.Now()
		if err := b.start(); err != nil {
			return false, err
		}
		s, err := b.until(reads(began))
		if err != nil {
			b.kill()
			return false, err
		}
		first = append(first, s.Time.Sub(began))
		b.kill()
	}
	slices.Sort(first)
	fmt.Printf("from the start to the first reading, %d starts after a kill: median %s, longest %s (aim %s)\n", starts, first[starts/2].Round(time.Millisecond), first[starts-1].Round(time.Millisecond), firstWithin)
	slowest, err := hung(r)
	if err != nil {
		return false, err
	}
	fmt.Printf("from the signal to the end with broker, InfluxDB, phone, heartbeat and bus hung, longest of %d: %s (aim %s)\n", ends, slowest.Round(time.Millisecond), endWithin)
	return first[starts-1] <= firstWithin && slowest <= endWithin, nil
}

// hung stops a daemon to which nobody answers: who listens says nothing, and a probe's file is a pipe that nobody writes into.
func hung(r *rig) (slowest time.Duration, err error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer l.Close()
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			defer c.Close()
		}
	}()
	at := l.Addr()
	b, err := newBoard(r.program, filepath.Join(r.dir, "hung"), fmt.Sprintf(`publish:
  page: {listen: none}
  mqtt: {broker: "tcp://%[1]s"}
  influxdb: {url: "http://%[1]s", bucket: nest, token: "invented"}
phone: {channels: [{name: mobile, url: "http://%[1]s/", format: json, at_least: notice}], heartbeat: {url: "http://%[1]s/"}}
`, at))
	if err != nil {
		return 0, err
	}
	for range ends {
		if err := b.start(); err != nil {
			return 0, err
		}
		if _, err := b.until(func(s state) bool { return !s.Time.IsZero() }); err != nil {
			b.kill()
			return 0, err
		}
		if err := errors.Join(os.Remove(b.slave(3)), syscall.Mkfifo(b.slave(3), 0o600)); err != nil {
			b.kill()
			return 0, err
		}
		time.Sleep(2 * pollEvery) // the bus hangs, and each sink tries
		took, _ := b.stop()
		slowest = max(slowest, took)
		if err := errors.Join(os.Remove(b.slave(3)), b.warm(3, 18)); err != nil {
			return 0, err
		}
	}
	return slowest, nil
}
