package metrics_test

import (
	"context"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/metrics"
	"nestmon/sensors"
)

// An invented password, and its hash of the lowest cost.
const (
	password = "willow-7741"
	hash     = "$2a$04$75K5oQdDChM.WRMK4URCaOPfAYjX/IW/wJiNeNWYtMN39UBkZzeHS"
)

func TestWebConfigFile(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address, file := taken.Addr().String(), filepath.Join(t.TempDir(), "web.yml")
	_ = taken.Close()
	put := func(text string) {
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	s := newSink(t, noon)
	put("basic_auth_users: {barn: " + password + "}\n")
	err = s.Serve(metrics.Config{Listen: address, WebConfigFile: file}, slog.New(slog.DiscardHandler))
	if err == nil || !strings.HasPrefix(err.Error(), "publish.prometheus.web_config_file: "+file) || strings.Contains(err.Error(), password) {
		t.Fatalf("a bad file: %v", err)
	}
	put("basic_auth_users: {barn: '" + hash + "'}\n")
	if err := s.Serve(metrics.Config{Listen: address, WebConfigFile: file}, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	defer func() {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		_ = s.Close(ctx)
	}()
	for path, want := range map[string]int{"/metrics": http.StatusUnauthorized, "/": http.StatusUnauthorized} {
		resp, err := http.Get("http://" + address + path)
		if err != nil {
			t.Fatal(err)
		}
		_ = resp.Body.Close()
		if resp.StatusCode != want {
			t.Errorf("%s without a password: %d", path, resp.StatusCode)
		}
	}
	resp, err := http.Get("http://barn:" + password + "@" + address + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	_ = resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		t.Errorf("with the password: %d", resp.StatusCode)
	}
	if err := s.Publish(t.Context(), rabbitry(1)); err != nil {
		t.Errorf("with a good file: %v", err)
	}
	put("basic_auth_users: {barn: ''}\n")
	if err := s.Publish(t.Context(), rabbitry(1)); !exporter.IsMisconfigured(err) {
		t.Errorf("with a file that went bad: %v, want it told until a person puts it right", err)
	}
}

func TestLandingPage(t *testing.T) {
	for _, row := range []struct {
		page metrics.PageLink
		host string
		want string // the link to the page, empty for none
	}{
		{metrics.PageLink{}, "board.example:19555", ""},
		{metrics.PageLink{Listen: "none"}, "board.example:19555", ""},
		{metrics.PageLink{Listen: "0.0.0.0:8380"}, "board.example:19555", "http://board.example:8380/"},
		{metrics.PageLink{Listen: ":8380", Secure: true}, "192.0.2.7:19555", "https://192.0.2.7:8380/"},
		{metrics.PageLink{Listen: "192.0.2.7:8380"}, "board.example:19555", "http://192.0.2.7:8380/"},
		{metrics.PageLink{Listen: "127.0.0.1:8380"}, "board.example:19555", ""},
		{metrics.PageLink{Listen: "127.0.0.1:8380"}, "localhost:19555", "http://127.0.0.1:8380/"},
		{metrics.PageLink{Listen: "[::]:8380"}, "[2001:db8::7]:19555", "http://[2001:db8::7]:8380/"},
		{metrics.PageLink{Listen: ":8380"}, `"><script>`, "http://&#34;&gt;&lt;script&gt;:8380/"},
	} {
		s := newSink(t, noon)
		s.Page = row.page
		req := httptest.NewRequest(http.MethodGet, "/", http.NoBody)
		req.Host = row.host
		rec := httptest.NewRecorder()
		s.Handler().ServeHTTP(rec, req)
		body := rec.Body.String()
		_, link, _ := strings.Cut(body, `For people there is <a href="`)
		if link, _, _ = strings.Cut(link, `"`); link != row.want || !strings.Contains(body, `href="/metrics"`) {
			t.Errorf("%v from %s: %q, want %q in\n%s", row.page, row.host, link, row.want, body)
		}
	}
}

// What would make a scrape fail is told where it is made, and the rest is shown.
func TestTwoOfOneName(t *testing.T) {
	state := rabbitry(1)
	state.Buses = append(state.Buses, sensors.BusHealth{Bus: "w1"})
	s := newSink(t, noon)
	if err := s.Publish(t.Context(), state); err == nil || !strings.Contains(err.Error(), "nestmon_bus_up") {
		t.Errorf("two buses of one name: %v", err)
	}
	if body := scrape(t, s); !strings.Contains(body, "nestmon_probe_temperature_celsius{") {
		t.Errorf("the rest is not shown:\n%s", body)
	}
}

// A reader that never reads holds one answer, not the sink.
func TestTooManyReaders(t *testing.T) {
	s := newSink(t, noon)
	if err := s.Publish(t.Context(), rabbitry(1)); err != nil {
		t.Fatal(err)
	}
	h := s.Handler()
	var stuck []*stuckReader
	for range 40 {
		r := &stuckReader{ResponseRecorder: httptest.NewRecorder(), begun: make(chan struct{}), end: make(chan struct{})}
		stuck = append(stuck, r)
		go h.ServeHTTP(r, httptest.NewRequest(http.MethodGet, "/metrics", http.NoBody))
		<-r.begun
	}
	rec := httptest.NewRecorder()
	h.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, "/metrics", http.NoBody))
	if rec.Code != http.StatusServiceUnavailable {
		t.Errorf("one more: %d", rec.Code)
	}
	if err := s.Publish(t.Context(), rabbitry(2)); err != nil {
		t.Errorf("publishing meanwhile: %v", err)
	}
	for _, r := range stuck {
		close(r.end)
	}
}

type stuckReader struct {
	*httptest.ResponseRecorder
	begun, end chan struct{}
	once       bool
}

func (r *stuckReader) Write(b []byte) (int, error) {
	if !r.once {
		r.once = true
		close(r.begun)
		<-r.end
	}
	return len(b), nil
}
