package services_test

import (
	"encoding/pem"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"
)

// outside is who receives the heartbeat, over TLS: it counts what comes and answers what it is told to.
type outside struct {
	*httptest.Server
	came   atomic.Int64
	status atomic.Int64 // 0 for no answer
	path   atomic.Value
}

func newOutside(t *testing.T) *outside {
	o := &outside{}
	o.Server = httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		o.came.Add(1)
		o.path.Store(r.Method + " " + r.URL.Path)
		status := int(o.status.Load())
		if status == 0 {
			<-r.Context().Done()
			return
		}
		w.WriteHeader(status)
	}))
	t.Cleanup(o.Close)
	return o
}

// manager is the socket of a service manager; it counts what it is told.
type manager struct {
	path                  string
	ready, fed, goodbying atomic.Int64
}

func newManager(t *testing.T) *manager {
	t.Helper()
	dir, err := os.MkdirTemp("", "nestmon-") // t.TempDir may be longer than a socket's path can be
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) }) //nolint:errcheck // the end of the test
	m := &manager{path: filepath.Join(dir, "notify")}
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: m.path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() }) //nolint:errcheck // the end of the test
	go func() {
		for b := make([]byte, 100); ; {
			n, err := c.Read(b)
			if err != nil {
				return
			}
			switch string(b[:n]) {
			case "READY=1":
				m.ready.Add(1)
			case "WATCHDOG=1":
				m.fed.Add(1)
			case "STOPPING=1":
				m.goodbying.Add(1)
			}
		}
	}()
	return m
}

// more waits until so many more came.
func more(t *testing.T, what string, n *atomic.Int64, want int64) {
	t.Helper()
	from := n.Load()
	eventually(t, what, func() bool { return n.Load() >= from+want })
}

// hush waits until nothing came for a second, which is several times what lies between two words of a daemon that runs.
func hush(t *testing.T, what string, n *atomic.Int64) {
	t.Helper()
	eventually(t, what, func() bool {
		was := n.Load()
		time.Sleep(time.Second)
		return n.Load() == was
	})
}

// The built daemon beats for somebody outside and for its service manager: not while it is stopped, not after it was asked to end, and after
// a death not before it has lived for a while.
func TestHeartbeatReachesSomebodyOutside(t *testing.T) {
	t.Parallel()
	const secret = "/beat/Qx7-nobody-may-see-this"
	far, watchdog, b, dir := newOutside(t), newManager(t), newBoard(t), t.TempDir()
	authority := write(t, filepath.Join(dir, "ca.pem"), string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: far.Certificate().Raw})))
	page, exported := fmt.Sprintf("127.0.0.1:%d", freePort(t)), fmt.Sprintf("127.0.0.1:%d", freePort(t))
	config := write(t, filepath.Join(dir, "nestmon.yaml"), fmt.Sprintf(`
site: {id: barn, name: Barn, timezone: UTC, display: celsius}
data: %s
`+oak+`publish: {page: {listen: "%s"}, prometheus: {listen: "%s"}}
phone: {heartbeat: {url_file: %s, every: 1m}}
`, filepath.Join(dir, "data"), page, exported, write(t, filepath.Join(dir, "url"), far.URL+secret+"\n")))
	program := built(t)
	run := func() *process {
		return launch(t, "env", "SSL_CERT_FILE="+authority, "NOTIFY_SOCKET="+watchdog.path, "WATCHDOG_USEC=300000", program, "run", "--config", config, "--root", b.root)
	}
	tell := func(p *process, s syscall.Signal) {
		t.Helper()
		if err := p.cmd.Process.Signal(s); err != nil {
			t.Fatal(err)
		}
	}
	var said strings.Builder
	look := func(url string) string {
		resp, err := http.Get(url)
		if err != nil {
			return err.Error()
		}
		defer resp.Body.Close()
		text, _ := io.ReadAll(resp.Body)
		said.Write(text)
		return string(text)
	}
	status := func() string {
		out, _ := exec.Command(program, "status", "--config", config).CombinedOutput()
		said.Write(out)
		return string(out)
	}

	daemon := run()
	more(t, "it is ready", &watchdog.ready, 1)
	eventually(t, "the first heartbeat", func() bool { return far.came.Load() == 1 })
	more(t, "a receiver that does not answer holds up nothing", &watchdog.fed, 5)

	far.status.Store(http.StatusInternalServerError)
	far.CloseClientConnections()
	eventually(t, "what failed is tried again, and told", func() bool {
		return far.came.Load() >= 3 && strings.Contains(status(), "failing  heartbeat: the receiver answered 500")
	})
	tell(daemon, syscall.SIGSTOP)
	hush(t, "no heartbeat of a daemon that stands still", &far.came)
	hush(t, "no word to the watchdog", &watchdog.fed)
	tell(daemon, syscall.SIGCONT)
	more(t, "the watchdog is fed again", &watchdog.fed, 2)
	more(t, "and the heartbeat tried", &far.came, 1)
	far.status.Store(http.StatusNoContent)
	more(t, "it arrives", &far.came, 1)
	eventually(t, "that is told", func() bool {
		return !strings.Contains(status(), "failing  heartbeat") && !strings.Contains(status(), "heartbeat nothing yet")
	})
	if got := far.path.Load(); got != "GET "+secret {
		t.Errorf("asked for %s", got)
	}
	if text := look("http://" + exported + "/metrics"); !strings.Contains(text, `sink="heartbeat"`) {
		t.Error("the metrics do not tell of the heartbeat")
	}
	look("http://" + page + "/api/state")

	n := far.came.Load()
	tell(daemon, syscall.SIGTERM)
	<-daemon.done
	if far.came.Load() != n || watchdog.goodbying.Load() != 1 {
		t.Errorf("at the end: %d heartbeats, told the service manager %d times", far.came.Load()-n, watchdog.goodbying.Load())
	}
	daemon = run()
	more(t, "a new start begins at once", &far.came, 1)
	daemon.kill()
	again := run()
	fed := watchdog.fed.Load()
	eventually(t, "it runs after it was killed", func() bool { return watchdog.fed.Load() >= fed+5 })
	eventually(t, "and says why it waits", func() bool { return strings.Contains(again.out.String(), "the heartbeat begins later") })
	if !strings.Contains(status(), "heartbeat nothing yet") {
		t.Error("a daemon that was killed is vouched for at once")
	}
	for _, text := range []string{said.String(), daemon.out.String(), again.out.String()} {
		if strings.Contains(text, "Qx7") {
			t.Error("the address shows")
		}
	}
}
