package services_test

import (
	"bytes"
	"compress/gzip"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"

	"nestmon/exporter"
)

type storedPoll = exporter.StoredPoll

// wire stands between the daemon and the server, and sees every line.
type wire struct {
	t      *testing.T
	server string
	front  *httptest.Server

	mu    sync.Mutex
	lines map[string]string // by what comes before the fields, and the time
	twice int
	after int // requests until one is held
	how   holding
	held  chan struct{}
	free  chan struct{}
	says  http.HandlerFunc // in place of the server, where it is set
}

// pretends lets answer speak in place of the server; nil gives it its word back.
func (w *wire) pretends(answer http.HandlerFunc) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.says = answer
}

// holding is what happens to the request that is held.
type holding int

const (
	unsent holding = iota // the server never sees it
	stored                // the server has it, the daemon never learns
)

func newWire(t *testing.T, server string) *wire {
	w := &wire{t: t, server: server, lines: map[string]string{}}
	w.front = httptest.NewServer(w)
	t.Cleanup(func() { w.letGo(); w.front.Close() })
	return w
}

func (w *wire) url() string { return w.front.URL }

// hold stops everything at the nth request from now on, until letGo. The channel closes when it came.
func (w *wire) hold(n int, how holding) <-chan struct{} {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.after, w.how, w.held, w.free = n, how, make(chan struct{}), make(chan struct{})
	return w.held
}

func (w *wire) letGo() {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.free != nil {
		close(w.free)
		w.free = nil
	}
}

func (w *wire) repeated() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.twice
}

func (w *wire) ServeHTTP(out http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return
	}
	w.note(body)
	w.mu.Lock()
	held, free, how, says := w.held, w.free, w.how, w.says
	holds := false
	if free != nil {
		w.after--
		holds = w.after <= 0
	}
	w.mu.Unlock()
	if holds && how == unsent {
		closeOnce(held)
		<-free
		panic(http.ErrAbortHandler)
	}
	if says != nil {
		says(out, r)
		return
	}
	onward, err := http.NewRequestWithContext(r.Context(), r.Method, w.server+r.URL.RequestURI(), bytes.NewReader(body))
	if err != nil {
		w.t.Error(err)
		return
	}
	onward.Header = r.Header
	resp, err := http.DefaultClient.Do(onward)
	if err != nil {
		panic(http.ErrAbortHandler)
	}
	defer resp.Body.Close()
	if holds {
		closeOnce(held)
		<-free
		panic(http.ErrAbortHandler)
	}
	for name, values := range resp.Header {
		out.Header()[name] = values
	}
	out.WriteHeader(resp.StatusCode)
	_, _ = io.Copy(out, resp.Body)
}

// closeOnce is for one goroutine at a time: a sink has one request under way.
func closeOnce(c chan struct{}) {
	select {
	case <-c:
	default:
		close(c)
	}
}

// note compares each line with the one of the same probe and time that came before.
func (w *wire) note(body []byte) {
	zip, err := gzip.NewReader(bytes.NewReader(body))
	if err != nil {
		w.t.Error(err)
		return
	}
	text, err := io.ReadAll(zip)
	if err != nil {
		w.t.Error(err)
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	for line := range strings.SplitSeq(strings.TrimSuffix(string(text), "\n"), "\n") {
		part := strings.Split(line, " ")
		if len(part) != 3 {
			w.t.Errorf("not a line: %q", line)
			return
		}
		key := part[0] + " " + part[2]
		before, seen := w.lines[key]
		if seen && before != line {
			w.t.Errorf("%q crossed the wire, and %q before it", line, before)
		}
		if seen {
			w.twice++
		}
		w.lines[key] = line
	}
}
