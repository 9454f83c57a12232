// Package services_test runs nestmon's sinks against the real services on loopback.
//
// A service is found through the environment variable NESTMON_NAME (NESTMON_INFLUXD for influxd, say), else through PATH. A
// test whose service is not there is skipped, or fails when NESTMON_REQUIRE_SERVICES=1.
package services_test

import (
	"bytes"
	"cmp"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// patience bounds a failing test; nothing is measured with it. influxd needs three seconds to start on a quiet machine.
const patience = 60 * time.Second

// debian has the programs that Debian names otherwise.
var debian = map[string]string{"alertmanager": "prometheus-alertmanager"}

// binary finds a program, or skips the test.
func binary(t *testing.T, name string) string {
	t.Helper()
	variable := "NESTMON_" + strings.ToUpper(strings.ReplaceAll(name, "-", "_"))
	wanted := cmp.Or(debian[name], name)
	if path := os.Getenv(variable); path != "" {
		wanted = path
	}
	path, err := exec.LookPath(wanted)
	for _, dir := range []string{"/usr/sbin", "/usr/local/sbin"} { // where packages put mosquitto, and not everybody looks
		if err != nil {
			path, err = exec.LookPath(filepath.Join(dir, wanted))
		}
	}
	if err == nil {
		return path
	}
	if os.Getenv("NESTMON_REQUIRE_SERVICES") == "1" {
		t.Fatalf("%s is not installed (%v); install it or set %s to its path", name, err, variable)
	}
	t.Skipf("skipped: %s is not installed; install it or set %s to its path", name, variable)
	return ""
}

// process is a service that runs.
type process struct {
	cmd  *exec.Cmd
	out  *output
	done chan struct{}
}

// output keeps what a service says, for the log of a failed test.
type output struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (o *output) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.Write(p)
}

func (o *output) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.String()
}

// start runs a service until the test ends.
func start(t *testing.T, name string, args ...string) *process {
	t.Helper()
	return launch(t, binary(t, name), args...)
}

// launch is start for a program whose path is known.
func launch(t *testing.T, name string, args ...string) *process {
	t.Helper()
	p := &process{cmd: exec.Command(name, args...), out: &output{}, done: make(chan struct{})}
	p.cmd.Stdout, p.cmd.Stderr = p.out, p.out
	if err := p.cmd.Start(); err != nil {
		t.Fatalf("starting %s: %v", name, err)
	}
	go func() {
		defer close(p.done)
		_ = p.cmd.Wait()
	}()
	t.Cleanup(func() {
		p.end()
		if t.Failed() {
			t.Logf("%s said:\n%s", name, p.out)
		}
	})
	return p
}

// end asks the service to stop, and makes it.
func (p *process) end() {
	_ = p.cmd.Process.Signal(syscall.SIGTERM)
	select {
	case <-p.done:
	case <-time.After(10 * time.Second):
		p.kill()
	}
}

// kill ends the service as a power cut would, as far as a process can tell.
func (p *process) kill() {
	_ = p.cmd.Process.Kill()
	<-p.done
}

// ready waits until ok says so, and fails when the service ends before.
func (p *process) ready(t *testing.T, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		select {
		case <-p.done:
			t.Fatalf("the service ended:\n%s", p.out)
		default:
		}
		if ok() {
			return
		}
	}
	t.Fatalf("the service is not ready:\n%s", p.out)
}

// answers reports whether a GET gives 200.
func answers(url string) func() bool {
	return func() bool {
		resp, err := http.Get(url)
		if err != nil {
			return false
		}
		defer resp.Body.Close()
		_, _ = io.Copy(io.Discard, resp.Body)
		return resp.StatusCode == http.StatusOK
	}
}

// listens reports whether somebody accepts connections.
func listens(address string) func() bool {
	return func() bool {
		c, err := net.DialTimeout("tcp", address, time.Second)
		if err != nil {
			return false
		}
		return c.Close() == nil
	}
}

// eventually waits until ok, and fails with what otherwise.
func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatal("did not happen: " + what)
}

// freePort returns a port nobody listens on.
func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// write writes a file of a test and returns its path.
func write(t *testing.T, path, text string) string {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}
