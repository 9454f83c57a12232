package influx_test

import (
	"compress/gzip"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"nestmon/exporter/sinktest"
	"nestmon/sensors"
)

const token = "s3cret-token-Zq9"

// stub is a server for the answers a real one cannot be made to give. Its fields are locked by mu.
type stub struct {
	t       *testing.T
	address string
	server  *httptest.Server
	away    bool

	mu     sync.Mutex
	answer func(w http.ResponseWriter, lines []string) // nil: 204
	lines  []string                                    // kept, in the order of arrival
	bodies []string
	query  string
	auth   string
}

func newStub(t *testing.T) *stub {
	t.Helper()
	s := &stub{t: t, address: "127.0.0.1:0"}
	s.start()
	t.Cleanup(func() { s.server.Close() })
	return s
}

func (s *stub) start() {
	l, err := net.Listen("tcp", s.address)
	if err != nil {
		s.t.Fatal(err)
	}
	s.address = l.Addr().String()
	s.server = &httptest.Server{Listener: l, Config: &http.Server{Handler: s}}
	s.server.Start()
}

func (s *stub) url() string { return "http://" + s.address }

func (s *stub) set(answer func(w http.ResponseWriter, lines []string)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.answer = answer
}

func (s *stub) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	var body io.Reader = r.Body
	if r.Header.Get("Content-Encoding") == "gzip" {
		z, err := gzip.NewReader(r.Body)
		if err != nil {
			http.Error(w, err.Error(), http.StatusBadRequest)
			return
		}
		body = z
	}
	text, _ := io.ReadAll(body)
	lines := strings.Split(strings.TrimSuffix(string(text), "\n"), "\n")
	s.mu.Lock()
	s.query, s.auth = r.URL.Path+"?"+r.URL.RawQuery, r.Header.Get("Authorization")
	s.bodies = append(s.bodies, string(text))
	answer := s.answer
	s.mu.Unlock()
	if answer != nil {
		answer(w, lines)
		return
	}
	s.keep(lines)
	w.WriteHeader(http.StatusNoContent)
}

func (s *stub) keep(lines []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.lines = append(s.lines, lines...)
}

// status answers as a server of this protocol does.
func status(code int, text string) func(http.ResponseWriter, []string) {
	return func(w http.ResponseWriter, _ []string) {
		w.Header().Set("X-Influxdb-Version", "1.8.3")
		w.Header().Set("X-Influxdb-Error", text)
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(code)
		fmt.Fprintf(w, `{"error":%q}`, text)
	}
}

// conduct puts the stub into one conduct of the conformance suite.
func (s *stub) conduct(c sinktest.Conduct) {
	switch c {
	case sinktest.Accepts:
		s.set(nil)
		if s.away {
			s.start()
		}
	case sinktest.Fails:
		s.set(status(http.StatusServiceUnavailable, "token "+token+" is fine, the server is not"))
	case sinktest.Refuses:
		s.set(status(http.StatusBadRequest, "no such field for "+token))
	case sinktest.Slow:
		s.set(func(w http.ResponseWriter, lines []string) {
			time.Sleep(200 * time.Millisecond)
			s.keep(lines)
			w.WriteHeader(http.StatusNoContent)
		})
	case sinktest.Hangs:
		released := make(chan struct{})
		s.t.Cleanup(func() { close(released) })
		s.set(func(http.ResponseWriter, []string) {
			select {
			case <-released:
			case <-time.After(2 * time.Second): // the caller is long gone
			}
		})
	case sinktest.Absent:
		s.server.Close()
		s.away = true
	}
}

// arrivals reads the kept lines back.
func (s *stub) arrivals() (all []sinktest.Arrival) {
	s.mu.Lock()
	defer s.mu.Unlock()
	quantities := map[string]sensors.Quantity{}
	for _, q := range sensors.Quantities {
		quantities[q.String()] = q
	}
	for _, line := range s.lines {
		parts := strings.Split(line, " ")
		if len(parts) != 3 {
			s.t.Errorf("not a line: %q", line)
			continue
		}
		unix, err := strconv.ParseInt(parts[2], 10, 64)
		if err != nil {
			s.t.Errorf("no time in %q", line)
		}
		_, probe, _ := strings.Cut(parts[0], "probe=")
		probe, _, _ = strings.Cut(probe, ",")
		// Fields are sorted by name; the order of readings is temperature first.
		fields := strings.Split(parts[1], ",")
		for i := range fields {
			name, value, _ := strings.Cut(fields[len(fields)-1-i], "=")
			v, err := strconv.ParseFloat(value, 64)
			if err != nil {
				s.t.Errorf("no number in %q", line)
			}
			all = append(all, sinktest.Arrival{Probe: probe, Quantity: quantities[name], Unix: unix, Value: v})
		}
	}
	return all
}

func (s *stub) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return fmt.Sprint(strings.Join(s.lines, "\n"))
}
