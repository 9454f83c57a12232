package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"periph.io/x/conn/v3/onewire"
)

// How long the daemon is watched, and how often it is scraped.
const (
	settle  = 25 * time.Second // five polls at the shortest interval
	scrapes = 1000
)

// run prints the memory of a whole daemon with 30 nests and 90 series on an invented board, and the time of a scrape: while all is well, and
// while nothing on any bus answers.
func run(w io.Writer, program, dir string) error {
	for _, hung := range []bool{false, true} {
		own := filepath.Join(dir, fmt.Sprint(hung))
		if err := writeBoard(own, hung); err != nil {
			return err
		}
		if err := watched(w, program, own, hung); err != nil {
			return err
		}
	}
	return nil
}

func watched(w io.Writer, program, dir string, hung bool) error {
	listen, err := freeAddress()
	if err != nil {
		return err
	}
	cfg := filepath.Join(dir, "nestmon.yaml")
	head := fmt.Sprintf("poll: 5s\ndata: %s\npublish: {prometheus: {listen: %q}, page: {listen: none}}", filepath.Join(dir, "data"), listen)
	if err := os.WriteFile(cfg, []byte(configFile(head, onBoard)), 0o644); err != nil {
		return err
	}
	var log bytes.Buffer
	c := exec.Command(program, "run", "--config", cfg, "--root", dir)
	c.Stdout, c.Stderr = &log, &log
	if err := c.Start(); err != nil {
		return err
	}
	defer func() { _ = c.Process.Kill() }()
	time.Sleep(settle)
	resident, peak, err := memory(c.Process.Pid)
	if err != nil {
		return fmt.Errorf("the daemon is gone: %w\n%s", err, log.String())
	}
	how := ""
	if hung {
		how = ", every bus hung"
	}
	fmt.Fprintf(w, "run, %d nests, %d series%s: %.1f MB resident, %.1f MB at most\n", nests, 3*nests, how, resident, peak)
	if err := scrape(w, "http://"+listen); err != nil {
		return err
	}
	if err := c.Process.Signal(syscall.SIGTERM); err != nil {
		return err
	}
	if err := c.Wait(); err != nil && !hung { // what hangs is left behind, and said
		return fmt.Errorf("stopping: %w\n%s", err, log.String())
	}
	return nil
}

func freeAddress() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	return l.Addr().String(), l.Close()
}

// writeBoard plants the kernel's files of the probes below root. Where buses hang, the files of values are pipes that nobody writes into.
func writeBoard(root string, hung bool) error {
	put := func(name, text string) error {
		name = filepath.Join(root, "sys", name)
		err := os.MkdirAll(filepath.Dir(name), 0o755)
		if hung && (strings.HasSuffix(name, "_input") || strings.HasSuffix(name, "w1_slave")) {
			return errors.Join(err, syscall.Mkfifo(name, 0o644))
		}
		return errors.Join(err, os.WriteFile(name, []byte(text), 0o644))
	}
	// 23.5 °C; the bytes are made by hand after the DS18B20 datasheet's scratchpad.
	const slave = "78 01 4b 46 7f ff 08 10 %02x : crc=%02x YES\n78 01 4b 46 7f ff 08 10 %02x t=23500\n"
	sum := onewire.CalcCRC([]byte{0x78, 0x01, 0x4b, 0x46, 0x7f, 0xff, 0x08, 0x10})
	errs := []error{put("bus/w1/devices/w1_bus_master1/w1_master_slave_count", "30\n")}
	for n := range nests {
		errs = append(errs,
			put("bus/w1/devices/"+rom(n)+"/w1_slave", fmt.Sprintf(slave, sum, sum, sum)),
			put(chip(n)+"/hwmon/hwmon0/name", "sht4x\n"),
			put(chip(n)+"/hwmon/hwmon0/temp1_input", "21500\n"),
			put(chip(n)+"/hwmon/hwmon0/humidity1_input", "55000\n"),
		)
	}
	return errors.Join(errs...)
}

func rom(n int) string  { return fmt.Sprintf("28-%012x", 0x0316a2790000+int64(n)) }
func chip(n int) string { return fmt.Sprintf("bus/i2c/devices/1-%04x", 0x44+n) }

func onBoard(id string) string {
	var n int
	if _, err := fmt.Sscanf(id, "n%d-", &n); err != nil {
		return ""
	}
	if strings.HasSuffix(id, "-cluster") {
		return "source: w1, rom: " + rom(n)
	}
	return "source: kernel, chip: sht4x, device: /sys/" + chip(n)
}

// memory reads a process's resident memory and its highest, in MB.
func memory(pid int) (resident, peak float64, err error) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0, 0, err
	}
	for line := range strings.Lines(string(text)) {
		var kB float64
		switch {
		case strings.HasPrefix(line, "VmRSS:"):
			_, err = fmt.Sscanf(line, "VmRSS: %f kB", &kB)
			resident = kB * 1024 / 1e6
		case strings.HasPrefix(line, "VmHWM:"):
			_, err = fmt.Sscanf(line, "VmHWM: %f kB", &kB)
			peak = kB * 1024 / 1e6
		}
		if err != nil {
			return 0, 0, err
		}
	}
	return resident, peak, nil
}
