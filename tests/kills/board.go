package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	"periph.io/x/conn/v3/onewire"

	"nestmon/sensors"
	"nestmon/tests/kills/disk"
)

// Of the invented board: four nests, each with two DS18B20 as files, and one outside.
const (
	nests     = 4
	pollEvery = 5 * time.Second // the shortest that a configuration may say
	patience  = 2 * time.Minute // an alarm comes with the minute
)

// board is a folder that looks like a board's /, with a configuration, and the daemon that runs there.
type board struct {
	program string
	dir     string // of everything but the archive
	data    string // of the archive
	extra   string // lines of configuration
	client  *http.Client
	cmd     *exec.Cmd
	ended   chan struct{}
	disk    *disk.Disk // below data, nil where there is none
	log     said
}

// said keeps the newest of what a daemon says.
type said struct {
	mu sync.Mutex
	b  bytes.Buffer
}

const mostSaid = 64 << 10 // bytes

func (s *said) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.b.Len() > mostSaid {
		s.b.Reset()
	}
	return s.b.Write(p)
}

func (s *said) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

func (s *said) reset() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.b.Reset()
}

func newBoard(program, dir, extra string) (*board, error) {
	b := &board{program: program, dir: dir, data: filepath.Join(dir, "data"), extra: extra}
	socket := filepath.Join(dir, "control.sock")
	b.client = &http.Client{Timeout: patience, Transport: &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, "unix", socket)
	}}}
	master := filepath.Join(dir, "sys/bus/w1/devices/w1_bus_master1/w1_master_slave_count")
	if err := errors.Join(os.MkdirAll(b.data, 0o750), os.MkdirAll(filepath.Dir(master), 0o755), os.WriteFile(master, fmt.Appendln(nil, len(probes())), 0o600)); err != nil {
		return nil, err
	}
	for i := range probes() {
		if err := errors.Join(os.MkdirAll(filepath.Dir(b.slave(i)), 0o755), b.warm(i, 18)); err != nil {
			return nil, err
		}
	}
	return b, b.configure()
}

// probes are the ids of all probes, in the order of their numbers.
func probes() []string {
	ids := []string{"outside"}
	for n := range nests {
		ids = append(ids, fmt.Sprintf("n%d-air", n+1), fmt.Sprintf("n%d-cluster", n+1))
	}
	return ids
}

// stored is the same for the archive.
func stored() (all []sensors.Probe) {
	for _, id := range probes() {
		all = append(all, sensors.Probe{ID: id, Quantities: []sensors.Quantity{sensors.Temperature}, Interval: pollEvery, StaleAfter: 90 * time.Second})
	}
	return all
}

func (b *board) file() string { return filepath.Join(b.dir, "nestmon.yaml") }

func (b *board) configure() error {
	var s strings.Builder
	fmt.Fprintf(&s, "data: %s\ncontrol: %s\npoll: %s\nsite: {name: Larch Hollow, timezone: UTC}\n%sprobes:\n", b.data, filepath.Join(b.dir, "control.sock"), pollEvery, b.extra)
	for i, id := range probes() {
		fmt.Fprintf(&s, "  - {id: %s, source: w1, rom: %s}\n", id, rom(i))
	}
	s.WriteString("outside: outside\nnests:\n")
	for n := range nests {
		fmt.Fprintf(&s, "  - {id: n%[1]d, kind: wooden-box, air: n%[1]d-air, cluster: [n%[1]d-cluster]}\n", n+1)
	}
	return os.WriteFile(b.file(), []byte(s.String()), 0o600)
}

func rom(i int) string { return fmt.Sprintf("28-%012x", 0x0316a2790000+i) }

func (b *board) slave(i int) string {
	return filepath.Join(b.dir, "sys/bus/w1/devices", rom(i), "w1_slave")
}

// step is a DS18B20's, in °C.
const step = 1.0 / 16

// warm writes the kernel's file of a DS18B20 at c °C: its scratchpad and the CRC of that.
func (b *board) warm(i int, c float64) error {
	raw := int16(math.Round(c / step))
	pad := []byte{byte(raw), byte(uint16(raw) >> 8), 0x4b, 0x46, 0x7f, 0xff, 0x0c, 0x10}
	crc := onewire.CalcCRC(pad)
	text := fmt.Sprintf("% x %02x : crc=%02x YES\n% x %02x t=%d\n", pad, crc, crc, pad, crc, int(raw)*1000/16)
	beside := b.slave(i) + ".new"
	if err := os.WriteFile(beside, []byte(text), 0o600); err != nil {
		return err
	}
	return os.Rename(beside, b.slave(i))
}

// start starts the daemon, behind the words of another command where there are any.
func (b *board) start(before ...string) error {
	args := append(before, b.program, "run", "--config", b.file(), "--root", b.dir)
	b.log.reset()
	b.cmd = exec.Command(args[0], args[1:]...)
	b.cmd.Stdout, b.cmd.Stderr = &b.log, &b.log
	b.cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // what is before it ends with it
	if err := b.cmd.Start(); err != nil {
		return fmt.Errorf("starting %s: %w", args[0], err)
	}
	cmd, ended := b.cmd, make(chan struct{})
	b.ended = ended
	go func() {
		_ = cmd.Wait() // killed as a rule
		close(ended)
	}()
	return nil
}

// kill ends the daemon as a power cut does, as far as a process can tell.
func (b *board) kill() {
	_ = syscall.Kill(-b.cmd.Process.Pid, syscall.SIGKILL) // it may have gone
	<-b.ended
	b.client.CloseIdleConnections()
}

// stop ends it in good order, and says how long that took and how it ended.
func (b *board) stop() (took time.Duration, code int) {
	began := time.Now()
	_ = syscall.Kill(-b.cmd.Process.Pid, syscall.SIGTERM)
	select {
	case <-b.ended:
	case <-time.After(patience):
		b.kill()
	}
	b.client.CloseIdleConnections()
	return time.Since(began), b.cmd.ProcessState.ExitCode()
}

func (b *board) lives() bool {
	select {
	case <-b.ended:
		return false
	default:
		return true
	}
}

// errNo is what the daemon refuses.
var errNo = errors.New("refused")

func (b *board) ask(method, path string, body, into any) error {
	var text []byte
	if body != nil {
		var err error
		if text, err = json.Marshal(body); err != nil {
			return err
		}
	}
	req, err := http.NewRequest(method, "http://nestmon"+path, bytes.NewReader(text))
	if err != nil {
		return err
	}
	res, err := b.client.Do(req)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	text, err = io.ReadAll(res.Body)
	switch {
	case err != nil:
		return err
	case res.StatusCode != http.StatusOK:
		return fmt.Errorf("%w: %s", errNo, bytes.TrimSpace(text))
	case into == nil:
		return nil
	}
	return json.Unmarshal(text, into)
}

// value is what the page shows of a probe.
type value struct {
	Probe string
	Value *float64
	Time  *time.Time
	Fresh bool
}

// onAlarm is an alarm that the page shows.
type onAlarm struct {
	Nest     *string
	Event    string
	Severity string
	Time     time.Time
	Text     string
}

// state is what the page shows, as far as it matters here.
type state struct {
	Time    time.Time
	Outside struct{ Values []value }
	Nests   []struct {
		ID      string
		Values  []value
		AgeDays *int `json:"age_days"`
	}
	Alarms []onAlarm
}

func (s state) values() []value {
	all := s.Outside.Values
	for _, n := range s.Nests {
		all = append(all, n.Values...)
	}
	return all
}

func (s state) fault(event string) string {
	for _, a := range s.Alarms {
		if a.Event == event {
			return a.Text
		}
	}
	return ""
}

func (b *board) state() (s state, err error) {
	err = b.ask(http.MethodGet, "/api/state", nil, &s)
	return s, err
}

// until asks for the state until ok, the daemon ends, or patience does.
func (b *board) until(ok func(state) bool) (s state, err error) {
	for began := time.Now(); time.Since(began) < patience; time.Sleep(5 * time.Millisecond) {
		if s, err = b.state(); err == nil && ok(s) {
			return s, nil
		}
		if !b.lives() {
			return s, fmt.Errorf("the daemon ended: %s", strings.TrimSpace(b.log.String()))
		}
	}
	return s, fmt.Errorf("nothing of it within %s; the newest answer: %w", patience, err)
}

// reads reports whether a state has a fresh reading of this life.
func reads(since time.Time) func(state) bool {
	return func(s state) bool {
		for _, v := range s.values() {
			if v.Value != nil && v.Time != nil && !v.Time.Before(since) {
				return true
			}
		}
		return false
	}
}
