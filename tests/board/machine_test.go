// Package board_test runs the nestmon binary under real kernels on emulated boards: an amd64 PC whose I2C chips are the kernel's own
// stub, and an ARM board whose sensors are warmed from outside.
//
// tests/board/fetch brings kernels and QEMU into the folder NESTMON_BOARD names. A test whose kernel or emulator is not there is
// skipped, or fails where NESTMON_REQUIRE_BOARD=1.
package board_test

import (
	"bufio"
	"errors"
	"fmt"
	"net"
	"net/rpc"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"nestmon/tests/board/line"
)

// patience bounds a failing test; nothing is measured with it. A guest is up after 4 to 6 s on a quiet machine.
const patience = 300 * time.Second

// ahead lets a board's clock run ahead of ours: an instruction takes 2^3 ns there and idle time is skipped, so that what waits ten minutes
// waits for ten minutes there and for seconds here, and no timeout there depends on what else this machine has to do.
const ahead = "shift=3,sleep=off"

// Programs of a guest, and files there.
const (
	program    = "nestmon/cmd/nestmon"
	guest      = "nestmon/tests/board/guest"
	configFile = "/tmp/nestmon.yaml"
	logFile    = "/tmp/log"
)

// lacking skips the test for what is not there, or fails it where everything was to be there.
func lacking(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("NESTMON_REQUIRE_BOARD") == "1" {
		t.Fatalf("%s is not here; run tests/board/fetch", what)
	}
	t.Skipf("skipped: %s is not here; run tests/board/fetch DIR and set NESTMON_BOARD to DIR", what)
}

// kit is what tests/board/fetch has put into one folder.
type kit struct{ dir string }

func findKit(t *testing.T) kit {
	t.Helper()
	dir := os.Getenv("NESTMON_BOARD")
	if dir == "" {
		lacking(t, "the folder of kernels and emulators (NESTMON_BOARD)")
	}
	dir, err := filepath.Abs(dir)
	if err != nil {
		t.Fatal(err)
	}
	return kit{dir}
}

// file finds what a pattern below the kit's folder fits.
func (k kit) file(t *testing.T, pattern string) string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(k.dir, pattern))
	if err != nil {
		t.Fatal(err)
	}
	if len(found) == 0 {
		lacking(t, pattern)
	}
	return found[len(found)-1]
}

// build builds a program for the guest. The flags are those of tests/run, so that a build there is not done twice.
func build(t *testing.T, pkg, arch, arm string) []byte {
	t.Helper()
	out := filepath.Join(t.TempDir(), filepath.Base(pkg))
	cmd := exec.Command("go", "build", "-trimpath", "-ldflags", "-s -w", "-o", out, pkg)
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS=linux", "GOARCH="+arch, "GOARM="+arm)
	if text, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("building %s for %s: %v\n%s", pkg, arch, err, text)
	}
	program, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	return program
}

// machine is an emulated board that runs, and the guest on it.
type machine struct {
	t       *testing.T
	calls   *rpc.Client
	ended   chan struct{}
	ready   chan struct{}
	failed  chan struct{}
	mu      sync.Mutex
	console strings.Builder
	began   time.Time
	seen    int // of the daemon's log, bytes
}

// environment is what the guest finds in its environment, as the kernel's command line gives it.
func environment(device, address string) string {
	return fmt.Sprintf("%s=%s %s=%s %s=%d", line.DeviceVariable, device, line.AddressVariable, address, line.TimeVariable, time.Now().Unix())
}

// boot starts an emulator and waits until its guest takes calls. The serial line of the calls is a socket at socket, which the
// arguments name too.
func boot(t *testing.T, k kit, emulator, socket string, args ...string) *machine {
	t.Helper()
	m := &machine{t: t, began: time.Now(), ended: make(chan struct{}), ready: make(chan struct{}), failed: make(chan struct{})}
	cmd := exec.Command(emulator, args...)
	// An emulator that was unpacked and not installed finds its libraries beside itself.
	libraries, err := filepath.Glob(filepath.Join(k.dir, "qemu", "usr", "lib", "*-linux-gnu"))
	more, errMore := filepath.Glob(filepath.Join(k.dir, "qemu", "lib", "*-linux-gnu"))
	if err := errors.Join(err, errMore); err != nil {
		t.Fatal(err)
	}
	cmd.Env = append(os.Environ(), "LD_LIBRARY_PATH="+strings.Join(append(libraries, more...), ":"))
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stderr = cmd.Stdout
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL} // a test that is killed leaves no board running
	if err := cmd.Start(); err != nil {
		t.Fatalf("starting %s: %v", emulator, err)
	}
	go func() {
		defer close(m.ended)
		var up, down sync.Once
		for lines := bufio.NewScanner(out); lines.Scan(); {
			m.mu.Lock()
			m.console.WriteString(lines.Text() + "\n")
			m.mu.Unlock()
			if strings.Contains(lines.Text(), line.Ready) {
				up.Do(func() { close(m.ready) })
			}
			if strings.Contains(lines.Text(), line.Failed) {
				down.Do(func() { close(m.failed) })
			}
		}
		_ = cmd.Wait()
	}()
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		<-m.ended
		if t.Failed() {
			t.Logf("the console said:\n%s", m.said())
		}
	})
	select {
	case <-m.ready:
	case <-m.failed:
		t.Fatal("the guest failed")
	case <-m.ended:
		t.Fatal("the board ended before its guest was ready")
	case <-time.After(patience):
		t.Fatal("the guest is not ready")
	}
	conn, err := net.Dial("unix", socket)
	if err != nil {
		t.Fatal(err)
	}
	m.calls = rpc.NewClient(conn)
	t.Cleanup(func() { _ = m.calls.Close() })
	return m
}

// lap tells how far a test has come, on both clocks.
func (m *machine) lap(what string) {
	m.t.Helper()
	up, _, _ := strings.Cut(m.read("/proc/uptime"), " ")
	m.t.Logf("%s: %.0f s here, %s s there", what, time.Since(m.began).Seconds(), up)
}

func (m *machine) said() string {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.console.String()
}

// call asks the guest, and ends the test where no answer comes.
func (m *machine) call(method string, arg, answer any) {
	m.t.Helper()
	if err := m.try(method, arg, answer); err != nil {
		m.t.Fatalf("%s %v: %v", method, arg, err)
	}
}

func (m *machine) try(method string, arg, answer any) error {
	done := m.calls.Go(line.Service+"."+method, arg, answer, make(chan *rpc.Call, 1)).Done
	select {
	case c := <-done:
		return c.Error
	case <-m.ended:
		return errors.New("the board ended")
	case <-time.After(patience):
		return errors.New("no answer")
	}
}

// read is what a file holds, or the error of reading it.
func (m *machine) read(path string) string {
	m.t.Helper()
	var text line.Text
	m.call("Read", path, &text)
	if text.Error != "" {
		return text.Error
	}
	return strings.TrimSpace(text.Text)
}

// write writes a file that must take it.
func (m *machine) write(path, text string) {
	m.t.Helper()
	var answer line.Text
	m.call("Write", line.File{Path: path, Text: text}, &answer)
	if answer.Error != "" {
		m.t.Fatalf("writing %q to %s: %s", text, path, answer.Error)
	}
}

// find is the one path that fits a pattern, as soon as there is one.
func (m *machine) find(pattern string) string {
	m.t.Helper()
	var paths []string
	m.eventually(func() bool {
		m.call("Find", pattern, &paths)
		return len(paths) > 0
	}, func() string { return "nothing fits " + pattern })
	if len(paths) > 1 {
		m.t.Fatalf("%s fits several: %v", pattern, paths)
	}
	return paths[0]
}

// run runs a program of the guest as a user without privileges.
func (m *machine) run(args ...string) line.Outcome {
	m.t.Helper()
	var out line.Outcome
	m.call("Run", line.Program{Args: args, Timeout: patience}, &out)
	return out
}

// says runs a command of nestmon and looks for words in what it says.
func (m *machine) says(name string, wants []string, args ...string) string {
	m.t.Helper()
	got := m.run(append([]string{"/nestmon"}, args...)...)
	for _, want := range wants {
		if !strings.Contains(got.Out, want) {
			m.t.Errorf("%s: %s, exit %d, without %q:\n%s%s", name, args[0], got.Code, want, got.Out, got.Err)
		}
	}
	return got.Out
}

// emulator finds QEMU in the kit, else in the path.
func (k kit) emulator(t *testing.T, name string) string {
	t.Helper()
	if path := filepath.Join(k.dir, "qemu/usr/bin", name); exists(path) {
		return path
	}
	path, err := exec.LookPath(name)
	if err != nil {
		lacking(t, name)
	}
	return path
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// daemon starts nestmon run, and is its process number.
func (m *machine) daemon(program string) (pid int) {
	m.t.Helper()
	m.seen = 0
	m.call("Start", line.Program{Args: []string{program, "run", "--config", configFile}, Log: logFile}, &pid)
	return pid
}

// stop asks a daemon to end, which it must do well.
func (m *machine) stop(daemon int) {
	m.t.Helper()
	var out line.Outcome
	if m.call("Stop", daemon, &out); out.Code != 0 {
		m.t.Errorf("run: exit %d\n%s", out.Code, m.read(logFile))
	}
}

// archived waits until nestmon export shows every one of the rows, which may leave out their time and their end.
func (m *machine) archived(rows ...string) {
	m.t.Helper()
	var out line.Outcome
	m.eventually(func() bool {
		out = m.run("/nestmon", "export", "--config", configFile)
		return !slices.ContainsFunc(rows, func(row string) bool { return !strings.Contains(out.Out, ","+row) })
	}, func() string { return fmt.Sprintf("the archive does not show %q:\n%s%s", rows, out.Out, out.Err) })
}

// logged waits until the daemon's log says the words, after what was looked for before.
func (m *machine) logged(words string) {
	m.t.Helper()
	var log string
	m.eventually(func() bool {
		log = m.read(logFile)
		return strings.Contains(log[m.seen:], words)
	}, func() string { return fmt.Sprintf("the log does not say %q:\n%s", words, log[m.seen:]) })
	m.seen += strings.Index(log[m.seen:], words) + len(words)
}

// eventually waits until ok, and ends the test with what story tells otherwise.
func (m *machine) eventually(ok func() bool, story func() string) {
	m.t.Helper()
	for end := time.Now().Add(patience); !ok(); time.Sleep(100 * time.Millisecond) {
		if time.Now().After(end) {
			m.t.Fatal(story())
		}
	}
}

// part is a part of the test. What comes after a part that failed is not tried: it would wait for what cannot come.
func (m *machine) part(name string, do func(t *testing.T)) {
	m.t.Helper()
	whole := m.t
	passed := whole.Run(name, func(t *testing.T) {
		m.t = t
		do(t)
	})
	if m.t = whole; !passed {
		whole.FailNow()
	}
}
