package services_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/exporter/mqtt/proxytest"
	"nestmon/thresholds/alarm"
)

// stopBound is twice the time in which the daemon means to stop, for a machine that is busy.
const stopBound = 16 * time.Second

// TestHungSinksHoldUpNothing runs the daemon with a broker in a black hole, an InfluxDB and a phone that take everything and answer
// nothing, and a scraper that never reads: what is healthy gets every state, no poll is lost, and each sink's state can be seen.
func TestHungSinksHoldUpNothing(t *testing.T) {
	t.Parallel()
	dir, program, b := t.TempDir(), built(t), newBoard(t)
	hole := proxytest.Start(t, "127.0.0.1:1") // nobody is asked
	hole.Hole()
	released := make(chan struct{})
	mute := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		select {
		case <-released:
		case <-r.Context().Done():
		}
	}))
	t.Cleanup(func() {
		close(released)
		mute.Close()
	})
	page, exported := fmt.Sprintf("127.0.0.1:%d", freePort(t)), fmt.Sprintf("127.0.0.1:%d", freePort(t))
	data := filepath.Join(dir, "data")
	owed(t, data, "mobile")
	config := write(t, filepath.Join(dir, "nestmon.yaml"), fmt.Sprintf(`
site: {id: barn, name: Barn}
data: %s
`+oak+`publish:
  page: {listen: "%s"}
  prometheus: {listen: "%s"}
  mqtt: {broker: "tcp://%s", device: barn}
  influxdb: {url: "%s", bucket: nest, token: "admin:pw-9f3"}
phone: {channels: [{name: mobile, url: "%[5]s", format: json, at_least: notice}]}
`, data, page, exported, hole.Addr(), mute.URL))
	daemon := launch(t, program, "run", "--config", config, "--root", b.root)
	daemon.ready(t, answers("http://"+page+"/healthz"))

	deaf, err := net.Dial("tcp", exported) // asks, and never reads
	if err != nil {
		t.Fatal(err)
	}
	defer deaf.Close()
	if _, err := deaf.Write([]byte(strings.Repeat("GET /metrics HTTP/1.1\r\nHost: board\r\n\r\n", 200))); err != nil {
		t.Fatal(err)
	}
	hung := []string{"mqtt", "influx", "mobile"}
	shown := map[time.Time]bool{}
	eventually(t, "every hung sink is shown as failing, and the polls have gone on", func() bool {
		s := pageState(t, page)
		shown[s.Time] = true
		text := body(t, "http://"+exported+"/metrics")
		for _, name := range hung {
			if !strings.Contains(text, fmt.Sprintf("nestmon_sink_up{sink=%q} 0", name)) || !s.says(name, false) {
				return false
			}
		}
		return len(shown) >= 5 && s.says("page", true) && s.says("prometheus", true) &&
			strings.Contains(text, `nestmon_sink_up{sink="page"} 1`) && strings.Contains(text, `nestmon_sink_up{sink="prometheus"} 1`)
	})
	// A healthy sink got every state that there was.
	sent := sentTo(t, body(t, "http://"+exported+"/metrics"), "page")
	if sent < len(shown)-1 {
		t.Errorf("the page took %d states, %d were seen on it", sent, len(shown))
	}

	began := time.Now()
	if err := daemon.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	select {
	case <-daemon.done:
	case <-time.After(stopBound):
		t.Fatalf("it has not stopped %v after it was asked to", time.Since(began))
	}

	// By the readings' own clock: a poll every five seconds. A busy machine may lose one now and then; a sink that is waited for would lose
	// nearly all.
	file := filepath.Join(dir, "readings.csv")
	if out, err := exec.Command(program, "export", "--config", config, "--out", file).CombinedOutput(); err != nil {
		t.Fatalf("export: %v\n%s", err, out)
	}
	var polls []int64
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for p := range exportedPoints(t, string(text)) {
		if p.probe == "oak-air" && p.quantity == "temperature" {
			polls = append(polls, p.unix)
		}
	}
	slices.Sort(polls)
	if len(polls) < 5 {
		t.Fatalf("only %d polls were kept", len(polls))
	}
	if want := int(polls[len(polls)-1]-polls[0])/5 + 1; 4*len(polls) < 3*want {
		t.Errorf("%d polls in %d s, want %d", len(polls), polls[len(polls)-1]-polls[0], want)
	}
}

// owed makes an archive that owes a message to a channel: the first alarm of a new one comes after a minute.
func owed(t *testing.T, data, channel string) {
	t.Helper()
	a, err := archive.Open(data, archive.Options{})
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	err = errors.Join(a.SetChannels([]string{channel}),
		a.Commit(exporter.Commit{Time: now, Messages: []exporter.Message{{ID: "first", Time: now, Title: "Nest oak", Event: alarm.Event{Name: alarm.NestHeat, Severity: alarm.Urgent, Time: now}}}}), a.Close())
	if err != nil {
		t.Fatal(err)
	}
}

// stateShown is what /api/state says of its time and its sinks.
type stateShown struct {
	Time  time.Time
	Sinks []struct {
		Sink  string
		OK    bool
		Error string
	}
}

func pageState(t *testing.T, page string) (s stateShown) {
	t.Helper()
	if err := json.Unmarshal([]byte(body(t, "http://"+page+"/api/state")), &s); err != nil {
		t.Fatal(err)
	}
	return s
}

// says reports whether a sink is shown to be well, or with a reason why not.
func (s stateShown) says(sink string, ok bool) bool {
	for _, h := range s.Sinks {
		if h.Sink == sink {
			return h.OK == ok && (ok || h.Error != "")
		}
	}
	return false
}

func sentTo(t *testing.T, metrics, sink string) int {
	t.Helper()
	m := regexp.MustCompile(`nestmon_sink_sent_total\{sink="` + sink + `"\} (\S+)`).FindStringSubmatch(metrics)
	if m == nil {
		t.Fatalf("nothing is said of what %s took", sink)
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if err != nil {
		t.Fatal(err)
	}
	return int(v)
}
