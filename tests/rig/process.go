package rig

import (
	"bufio"
	"fmt"
	"io"
	"maps"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"
)

// Patience bounds a start and an end; nothing is measured with it.
const Patience = 60 * time.Second

// Process is a program that runs, and what came of its standard error.
type Process struct {
	Cmd  *exec.Cmd
	done chan struct{}

	mu         sync.Mutex
	lines      map[string]int    // of the log, by level and message, without what differs
	newest     map[string]string // the newest line of each
	last       []string
	bytes      int64
	goroutines int     // alive, in the last list that the runtime printed whole
	counting   int     // in the list that it prints now
	heap       float64 // MB after the last collection
}

// Watched asks Go's runtime to print every collection and, every so often, every goroutine.
func Watched(every time.Duration) string {
	return fmt.Sprintf("GODEBUG=gctrace=1,scheddetail=1,schedtrace=%d", every.Milliseconds())
}

// Start starts a program; what it writes to standard error is counted.
func Start(c *exec.Cmd) (*Process, error) {
	p := &Process{Cmd: c, done: make(chan struct{}), lines: map[string]int{}, newest: map[string]string{}}
	says, err := c.StderrPipe()
	if err != nil {
		return nil, err
	}
	if err := c.Start(); err != nil {
		return nil, fmt.Errorf("starting %s: %w", c.Path, err)
	}
	go func() {
		defer close(p.done)
		in := bufio.NewReader(says)
		for {
			line, err := in.ReadString('\n')
			p.hear(strings.TrimSpace(line))
			if err != nil {
				break
			}
		}
		_ = c.Wait()
	}()
	return p, nil
}

// What Go's runtime prints; a goroutine of status 6 is dead.
var (
	goroutine  = regexp.MustCompile(`^G\d+: status=(\d+)`)
	collection = regexp.MustCompile(`^gc \d+ @.*->(\d+) MB, `)
	message    = regexp.MustCompile(`level=(\S+) msg=("[^"]*"|\S+)`)
)

// keptLines is how much of a log is kept for an error.
const keptLines = 30

func (p *Process) hear(line string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if m := goroutine.FindStringSubmatch(line); m != nil {
		if m[1] != "6" {
			p.counting++
		}
		return
	}
	if strings.HasPrefix(line, "SCHED ") {
		if p.counting > 0 {
			p.goroutines = p.counting
		}
		p.counting = 0
		return
	}
	if m := collection.FindStringSubmatch(line); m != nil {
		p.heap, _ = strconv.ParseFloat(m[1], 64)
		return
	}
	if trace := line == "" || line[0] == 'P' && strings.Contains(line, "status=") || line[0] == 'M' && strings.Contains(line, "curg="); trace {
		return
	}
	p.bytes += int64(len(line)) + 1
	if m := message.FindStringSubmatch(line); m != nil {
		p.lines[m[1]+" "+m[2]]++
		p.newest[m[1]+" "+m[2]] = line
	} else {
		p.lines["?"]++
	}
	if p.last = append(p.last, line); len(p.last) > keptLines {
		p.last = p.last[1:]
	}
}

// Said is how often the log had each line, and how many bytes it is.
func (p *Process) Said() (lines map[string]int, bytes int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return maps.Clone(p.lines), p.bytes
}

// Newest is the newest line of the log with this level and message.
func (p *Process) Newest(levelAndMessage string) string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.newest[levelAndMessage]
}

// Last is the end of the log.
func (p *Process) Last() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return strings.Join(p.last, "\n")
}

// Runtime is how many goroutines there were when the runtime told them last, and the heap in MB after the last collection.
func (p *Process) Runtime() (goroutines int, heap float64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.goroutines, p.heap
}

// End asks the program to stop, and makes it.
func (p *Process) End() error {
	_ = p.Cmd.Process.Signal(syscall.SIGTERM)
	return p.Wait()
}

// Wait waits for its end.
func (p *Process) Wait() error {
	select {
	case <-p.done:
	case <-time.After(Patience):
		p.Kill()
		return fmt.Errorf("%s did not end within %s:\n%s", p.Cmd.Path, Patience, p.Last())
	}
	if code := p.Cmd.ProcessState.ExitCode(); code != 0 {
		return fmt.Errorf("%s ended with exit %d:\n%s", p.Cmd.Path, code, p.Last())
	}
	return nil
}

// Kill ends it as a power cut would.
func (p *Process) Kill() {
	_ = p.Cmd.Process.Kill()
	<-p.done
}

// Ended reports whether it has ended.
func (p *Process) Ended() bool {
	select {
	case <-p.done:
		return true
	default:
		return false
	}
}

// Until waits until ok, and fails where the program ends before.
func (p *Process) Until(what string, ok func() bool) error {
	for end := time.Now().Add(Patience); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		switch {
		case p.Ended():
			return fmt.Errorf("%s ended before %s:\n%s", p.Cmd.Path, what, p.Last())
		case ok():
			return nil
		}
	}
	return fmt.Errorf("%s: never came to this: %s\n%s", p.Cmd.Path, what, p.Last())
}

// Weight is what the kernel knows of a process.
type Weight struct {
	RSS, Peak float64 // MB
	Anon      float64 // MB of RSS that is no file's: the rest is the program itself, which is read in as it is needed
	FDs       int
	CPU       time.Duration
	Written   int64 // bytes of pages made dirty
}

// Weigh reads it.
func (p *Process) Weigh() (w Weight, err error) {
	proc := fmt.Sprintf("/proc/%d/", p.Cmd.Process.Pid)
	for _, f := range []struct{ file, key string }{{"status", "VmRSS:"}, {"status", "VmHWM:"}, {"status", "RssAnon:"}, {"io", "write_bytes:"}} {
		text, err := os.ReadFile(proc + f.file)
		if err != nil {
			return w, fmt.Errorf("the program is gone: %w\n%s", err, p.Last())
		}
		_, after, _ := strings.Cut(string(text), "\n"+f.key)
		var n int64
		if _, err := fmt.Sscan(after, &n); err != nil {
			return w, fmt.Errorf("reading %s%s: %w", proc, f.file, err)
		}
		switch f.key {
		case "VmRSS:":
			w.RSS = float64(n) * 1024 / 1e6
		case "VmHWM:":
			w.Peak = float64(n) * 1024 / 1e6
		case "RssAnon:":
			w.Anon = float64(n) * 1024 / 1e6
		default:
			w.Written = n
		}
	}
	files, err := os.ReadDir(proc + "fd")
	if err != nil {
		return w, err
	}
	w.FDs = len(files)
	text, err := os.ReadFile(proc + "stat")
	if err != nil {
		return w, err
	}
	_, after, _ := strings.Cut(string(text), ") ") // the name may hold anything
	fields := strings.Fields(after)
	var ticks int64
	for _, i := range []int{11, 12} { // utime and stime, proc(5)
		n, err := strconv.ParseInt(fields[i], 10, 64)
		if err != nil {
			return w, err
		}
		ticks += n
	}
	const hertz = 100 // USER_HZ on every architecture of Linux we build for
	w.CPU = time.Duration(ticks) * time.Second / hertz
	return w, nil
}

// Build builds the program as for a board, or with test the tests of its package.
func Build(dir string, test bool) (program string, err error) {
	program = filepath.Join(dir, "nestmon")
	args := []string{"build", "-buildvcs=false", "-o", program, "nestmon/cmd/nestmon"}
	if test {
		program += ".test"
		args = []string{"test", "-buildvcs=false", "-c", "-o", program, "nestmon/cmd/nestmon"}
	}
	c := exec.Command("go", args...)
	c.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := c.CombinedOutput(); err != nil {
		return "", fmt.Errorf("building: %w\n%s", err, out)
	}
	return program, nil
}

// Free is an address nobody listens on.
func Free() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	return l.Addr().String(), l.Close()
}

// Get reads what is at an address.
func Get(c *http.Client, url string) ([]byte, error) {
	res, err := c.Get(url)
	if err != nil {
		return nil, err
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	if err == nil && res.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s: %s", url, res.Status)
	}
	return text, err
}

// Most lists the most frequent lines of a log, by how often.
func Most(lines map[string]int, n int) string {
	var b strings.Builder
	keys := slices.SortedFunc(maps.Keys(lines), func(x, y string) int { return lines[y] - lines[x] })
	for _, k := range keys[:min(n, len(keys))] {
		fmt.Fprintf(&b, "  %6d  %s\n", lines[k], k)
	}
	return b.String()
}
