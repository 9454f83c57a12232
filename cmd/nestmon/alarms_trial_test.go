package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"nestmon/sensors"
)

// A test message goes to every channel, whatever severity it carries, and past what waits; what came of it is told channel by channel.
func TestAlarmsTest(t *testing.T) {
	var mu sync.Mutex
	heard := map[string]string{}
	service := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		mu.Lock()
		heard[r.URL.Path] = string(body)
		mu.Unlock()
		if strings.HasPrefix(r.URL.Path, "/wrong") {
			w.WriteHeader(http.StatusForbidden)
		}
	}))
	defer service.Close()
	dir, err := os.MkdirTemp("", "nestmon-trial-") // t.TempDir may be longer than a socket's path can be
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	file := filepath.Join(dir, "nestmon.yaml")
	if err := os.WriteFile(file, []byte(fmt.Sprintf(`
site: {name: Willow Bend}
data: %s
probes: [{id: oak-air, source: w1, rom: 28-0316a2794d5f}]
nests: [{id: oak, kind: wooden-box, air: oak-air}]
phone:
  channels:
    - {name: mobile, url: "%[2]s/good/k3y", format: json, at_least: urgent}
    - {name: spare, url: "%[2]s/wrong/k3y"}
    - {name: gone, url: "http://127.0.0.1:1/k3y"}
`, filepath.Join(dir, "data"), service.URL)), 0o600); err != nil {
		t.Fatal(err)
	}
	run := func(args ...string) (int, string) {
		var out, errs bytes.Buffer
		code := runAlarms(t.Context(), append(append([]string{"test"}, args...), "--config", file), stdio{out: &out, err: &errs})
		if strings.Contains(out.String()+errs.String(), "k3y") {
			t.Errorf("a secret shows: %s%s", &out, &errs)
		}
		return code, out.String() + errs.String()
	}
	if code, said := run(); code != exitWrongUse || !strings.Contains(said, "no daemon answers") {
		t.Errorf("without a daemon: %d, %s", code, said)
	}
	cfg, _, err := loadConfig(file)
	if err != nil {
		t.Fatal(err)
	}
	d, err := newDaemon(cfg, parts{
		log: slog.New(slog.DiscardHandler), pace: plainPace(time.Minute), trusted: func(time.Time) bool { return true },
		sources: func() ([]sensors.Source, error) { return nil, nil },
	})
	if err != nil {
		t.Fatal(err)
	}
	defer d.stop(context.Background()) //nolint:errcheck // the test is over
	door, err := openControl(cfg.Control, d, http.NotFoundHandler())
	if err != nil {
		t.Fatal(err)
	}
	defer door.stop(context.Background()) //nolint:errcheck // the test is over

	code, said := run()
	for _, want := range []string{
		"ok       mobile: delivered in ",
		"FAILED   spare: the service answered 403 Forbidden; check the key in url and headers\n",
		"FAILED   gone: dial tcp (secret): connect: connection refused; look at the network",
		"Now look at the phone",
	} {
		if !strings.Contains(said, want) {
			t.Errorf("it does not say %q:\n%s", want, said)
		}
	}
	if code != exitFinding {
		t.Errorf("exit %d, want %d", code, exitFinding)
	}
	var message struct{ Title, Text, Kind string }
	if err := json.Unmarshal([]byte(heard["/good/k3y"]), &message); err != nil {
		t.Fatal(err)
	}
	if message.Kind != "test" || message.Title != "Test from Willow Bend: this is how an alarm reaches you" || !strings.HasPrefix(message.Text, "Nothing is wrong.") {
		t.Errorf("arrived: %+v", message)
	}

	code, said = run("--channel", "mobile", "--json")
	var answers []trialAnswer
	if err := json.Unmarshal([]byte(said), &answers); err != nil || code != exitDone || len(answers) != 1 || !answers[0].OK || answers[0].Channel != "mobile" {
		t.Errorf("mobile alone: exit %d, %v\n%s", code, err, said)
	}
	if code, said := run("--channel", "mobil"); code != exitWrongUse || !strings.Contains(said, "write --channel mobile or spare or gone") {
		t.Errorf("no such channel: exit %d, %s", code, said)
	}
	if h := d.sinks.channels[0].Health(); h.Sent != 2 || h.LastOK.IsZero() {
		t.Errorf("the health of the channel does not know of it: %+v", h)
	}
	d.sinks.channels = nil
	if code, said := run(); code != exitWrongUse || !strings.Contains(said, "write one under phone") {
		t.Errorf("without channels: exit %d, %s", code, said)
	}
}
