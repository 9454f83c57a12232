package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"nestmon/exporter/archive"
	"nestmon/hardware/boardtest"
	"nestmon/sensors"
	"nestmon/sensors/offsets"
)

// ward is a board of files with a whole daemon on it, and what the doctor says of them.
type ward struct {
	t          *testing.T
	root, dir  string
	file, data string
	asked      atomic.Int64 // messages and heartbeats that arrived
	broken     atomic.Bool  // the service for phones refuses
}

const (
	wardAir, wardPile = "28-0316a2794d5f", "28-0416c1e07bff"
	wardPoll          = 5 * time.Second
)

// newWard makes a board that is well. at is a free port for metrics.
func newWard(t *testing.T) *ward {
	t.Helper()
	dir, err := os.MkdirTemp("", "nestmon-ward-") // t.TempDir may be longer than a socket's path can be
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	w := &ward{t: t, root: t.TempDir(), dir: dir, file: filepath.Join(dir, "nestmon.yaml"), data: filepath.Join(dir, "data")}
	boardtest.Plant(t, w.root, "well")
	boardtest.Put(t, filepath.Join(w.root, "sys/class/rtc/rtc0/since_epoch"), fmt.Sprint(time.Now().Unix()))
	boardtest.Link(t, filepath.Join(w.root, "sys/bus/w1/devices/w1_bus_master1"), "../../../devices/w1_bus_master1")
	for _, rom := range []string{wardAir, wardPile} {
		boardtest.Put(t, filepath.Join(hang(t, w.root, "w1_bus_master1", rom), "w1_slave"), warm)
	}
	service := httptest.NewUnstartedServer(http.HandlerFunc(func(rw http.ResponseWriter, _ *http.Request) {
		if w.asked.Add(1); w.broken.Load() {
			rw.WriteHeader(http.StatusForbidden)
		}
	}))
	service.Config.ErrorLog = slog.NewLogLogger(slog.DiscardHandler, slog.LevelError)
	service.StartTLS()
	t.Cleanup(service.Close)
	plain := httptest.NewServer(service.Config.Handler)
	t.Cleanup(plain.Close)
	w.secret("phone.url", plain.URL+"/k3y")
	w.secret("second.url", service.URL+"/k3y") // its signer is nobody's: nothing gets through
	w.secret("beat.url", plain.URL+"/k3y")
	if err := os.WriteFile(w.file, []byte(fmt.Sprintf(`
site: {id: willow, name: Willow Bend}
data: %s
poll: %s
probes: [{id: oak-air, source: w1, rom: %s, stale_after: 10s}, {id: oak-pile, source: w1, rom: %s}]
nests: [{id: oak, kind: wooden-box, air: oak-air, cluster: oak-pile}]
publish: {prometheus: {listen: "%s"}}
phone:
  channels: [{name: mobile, url_file: %[6]s/phone.url}, {name: spare, url_file: %[6]s/second.url}]
  heartbeat: {url_file: %[6]s/beat.url, every: 1m}
`, w.data, wardPoll, wardAir, wardPile, freePort(t), dir)), 0o640); err != nil {
		t.Fatal(err)
	}
	return w
}

func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

func (w *ward) secret(name, text string) {
	w.t.Helper()
	if err := os.WriteFile(filepath.Join(w.dir, name), []byte(text+"\n"), 0o600); err != nil {
		w.t.Fatal(err)
	}
}

// start runs the daemon until the test is over, and returns what ends it before.
func (w *ward) start() (stop func()) {
	w.t.Helper()
	cfg, findings, err := loadConfig(w.file)
	if err != nil || anyError(findings) {
		w.t.Fatal(err, findings)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- serve(ctx, cfg, w.root, slog.New(slog.DiscardHandler)) }()
	stop = func() {
		cancel()
		select {
		case err := <-ended:
			ended <- err
		case <-time.After(time.Minute):
			w.t.Error("the daemon does not end")
		}
	}
	w.t.Cleanup(stop)
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if call(cfg.Control).get(w.t.Context(), "/api/state", nil) == nil {
			return stop
		}
	}
	w.t.Fatal("the daemon never answered")
	return stop
}

// doctor asks as --json does, and looks at what every answer must be.
func (w *ward) doctor(args ...string) (code int, signs []sign) {
	w.t.Helper()
	var out, errs bytes.Buffer
	code = runDoctor(w.t.Context(), append([]string{"--config", w.file, "--root", w.root, "--json"}, args...), stdio{in: strings.NewReader(""), out: &out, err: &errs})
	if strings.Contains(out.String()+errs.String(), "k3y") {
		w.t.Errorf("a secret shows: %s%s", &out, &errs)
	}
	if err := json.Unmarshal(out.Bytes(), &signs); err != nil {
		w.t.Fatalf("exit %d, %v: %s%s", code, err, &out, &errs)
	}
	for _, s := range signs {
		if s.Topic == "" || s.Text == "" || (s.Verdict == good) != (s.Remedy == "") || s.Lasting && s.Verdict != unseen {
			w.t.Errorf("a sign without its word or remedy: %+v", s)
		}
	}
	if (code == exitDone) == slices.ContainsFunc(signs, sign.counts) {
		w.t.Errorf("exit %d with %+v", code, signs)
	}
	return code, signs
}

// has wants a sign of this topic and verdict that says so.
func has(t *testing.T, signs []sign, topic string, v verdict, says string) {
	t.Helper()
	var of []string
	for _, s := range signs {
		if s.Topic != topic {
			continue
		}
		if s.Verdict == v && strings.Contains(s.Text+"; "+s.Remedy, says) {
			return
		}
		of = append(of, fmt.Sprintf("%s: %s; %s", s.Verdict, s.Text, s.Remedy))
	}
	t.Errorf("%s: no %s that says %q among:\n%s", topic, v, says, strings.Join(of, "\n"))
}

func TestDoctor(t *testing.T) {
	w := newWard(t)
	t.Run("before the daemon was ever started", func(t *testing.T) {
		_, signs := w.doctor("--send")
		has(t, signs, "daemon", failed, "no daemon answers")
		has(t, signs, "probes", good, "2 probes with a value")
		has(t, signs, "archive", look, "there is none")
		has(t, signs, "backup", look, "no backup is known")
		has(t, signs, "prometheus", unseen, "known to the daemon alone")
		has(t, signs, "heartbeat", unseen, "known to the daemon alone")
		has(t, signs, "phone", unseen, "none was tried")
		has(t, signs, "card", good, "mmcblk0 SD SC32G; made 08/2024; 7516.2 MB written into its file system so far; 2048.0 MB since the board started 10 days ago, by all programs: 204.8 MB a day")
		has(t, signs, "rtc", good, "rtc-ds1307")
		has(t, signs, "supply", good, "enough voltage")
		has(t, signs, "watchdog", good, "when it hangs for 15s")
		has(t, signs, "secrets", good, "3 files there")
		if w.asked.Load() != 0 {
			t.Errorf("%d requests went out", w.asked.Load())
		}
	})
	defer syscall.Umask(syscall.Umask(0o077)) // the unit's
	stop := w.start()
	t.Run("with a daemon", func(t *testing.T) { doctorOfALivingDaemon(t, w) })
	t.Run("on a board where all is amiss", func(t *testing.T) {
		well := w.root
		defer func() { w.root = well }()
		w.root = t.TempDir()
		boardtest.Plant(t, w.root, "tired")
		_, signs := w.doctor()
		has(t, signs, "card", failed, "nothing can be written")
		has(t, signs, "card", failed, "3 errors")
		has(t, signs, "card", failed, "its life is over")
		has(t, signs, "rtc", failed, "says 2000-01-01; its battery is empty")
		has(t, signs, "supply", failed, "too little voltage")
		has(t, signs, "watchdog", look, "nobody has started it")
		has(t, signs, "buses", failed, "enable 1-Wire")
		w.root = t.TempDir()
		_, signs = w.doctor()
		for _, topic := range []string{"rtc", "supply", "watchdog", "service"} {
			has(t, signs, topic, unseen, "")
		}
		for _, s := range signs {
			if s.Topic == "card" && s.Verdict == good {
				t.Errorf("a card of which nothing is known is good: %+v", s)
			}
		}
	})
	t.Run("after it has ended", func(t *testing.T) {
		if err := offsets.Add(w.data, offsets.Record{Time: time.Now(), Source: "w1", Identity: wardPile, Probe: "oak-pile", Method: sensors.IcePoint}); err != nil {
			t.Fatal(err)
		}
		filesAsListed(t, w.data, archive.LimitsFile, "state")
		stop()
		a, err := archive.Open(w.data, archive.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(a.PutLimits([]byte("{\"revision\":1}\n")), a.Close()); err != nil {
			t.Fatal(err)
		}
		filesAsListed(t, w.data, controlName)
		_, signs := w.doctor()
		has(t, signs, "archive", good, "it opens; its newest poll is")
		if err := os.WriteFile(filepath.Join(w.data, "book.db"), []byte(strings.Repeat("no database ", 500)), 0o600); err != nil {
			t.Fatal(err)
		}
		_, signs = w.doctor()
		has(t, signs, "archive", failed, "")
	})
}

func doctorOfALivingDaemon(t *testing.T, w *ward) {
	_, signs := w.doctor()
	has(t, signs, "daemon", good, "the last whole poll was")
	has(t, signs, "buses", good, "w1-1 answers")
	has(t, signs, "probes", good, "2 probes with a value")
	has(t, signs, "archive", good, "open in the running daemon")
	has(t, signs, "service", failed, "it was given no watchdog")
	has(t, signs, "prometheus", unseen, "nobody has scraped it yet")
	has(t, signs, "phone", unseen, "mobile: no message went this way since the daemon started, and none was sent now")
	has(t, signs, "certificates", good, "that of phone spare is good until")
	beats := w.asked.Load()
	if beats > 1 {
		t.Errorf("%d requests went out, want the heartbeat's at most: nobody said --send", beats)
	}

	cfg, _, err := loadConfig(w.file)
	if err != nil {
		t.Fatal(err)
	}
	res, err := http.Get("http://" + cfg.Publish.Prometheus.Listen + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	says(t, exitDone, "backup", "--config", w.file, "--to", w.dir)
	boardtest.Put(t, filepath.Join(hang(t, w.root, "w1_bus_master1", "28-0516d2a119ee"), "w1_slave"), warm)
	_, signs = w.doctor("--send")
	has(t, signs, "prometheus", good, "scraped")
	has(t, signs, "backup", good, "nestmon-willow-")
	has(t, signs, "probes", look, "28-0516d2a119ee on w1-1 is bound to nothing")
	has(t, signs, "phone", good, "mobile: delivered in")
	has(t, signs, "phone", failed, "spare: ")
	if w.asked.Load() == beats {
		t.Error("no message arrived")
	}
	w.broken.Store(true)
	_, signs = w.doctor("--send")
	has(t, signs, "phone", failed, "mobile: the service answered 403")
	w.broken.Store(false)
	w.secret("phone.url", "") // emptied while the daemon runs: the next start would fail
	if err := os.Chmod(filepath.Join(w.dir, "beat.url"), 0o644); err != nil {
		t.Fatal(err)
	}
	w.note(lastBackup{Time: time.Now().Add(-9 * 24 * time.Hour), File: "/nowhere"})
	_, signs = w.doctor()
	has(t, signs, "secrets", failed, "phone.url is empty")
	has(t, signs, "secrets", failed, "every user of this machine can reach the secret")
	has(t, signs, "backup", look, "the last backup was made 9 days ago")
	w.note(lastBackup{Time: time.Now().Add(time.Hour), File: "/nowhere"})
	_, signs = w.doctor()
	has(t, signs, "backup", look, "has not been yet")
	boardtest.Put(t, filepath.Join(w.data, backupNote), "{")
	_, signs = w.doctor()
	has(t, signs, "backup", unseen, "cannot be read")
	silenced := filepath.Join(w.root, "sys/bus/w1/devices", wardAir, "w1_slave")
	if err := os.Remove(silenced); err != nil {
		t.Fatal(err)
	}
	bad := func(s sign) bool { return s.Topic == "probes" && strings.Contains(s.Text, "oak-air") }
	for end := time.Now().Add(time.Minute); !slices.ContainsFunc(signs, bad) && time.Now().Before(end); time.Sleep(wardPoll / 5) {
		_, signs = w.doctor()
	}
	has(t, signs, "probes", failed, "oak-air")
	has(t, signs, "phone", good, "mobile: a message got through") // of the trial, known with the poll after it
}

func (w *ward) note(b lastBackup) {
	w.t.Helper()
	if err := noteBackup(w.data, b); err != nil {
		w.t.Fatal(err)
	}
}

// What runs under systemd is asked of it; the program stands for systemctl with what that prints.
func TestDoctorAsksTheServiceManager(t *testing.T) {
	const well = "LoadState=loaded\nUnitFileState=enabled\nActiveState=active\nNRestarts=0\nWatchdogUSec=1min\nRestart=always\n"
	for _, row := range []struct {
		prints string
		v      verdict
		says   string
	}{
		{well, good, "started at boot, active, started anew when it ends or hangs (watchdog 1min)"},
		{strings.Replace(well, "=enabled", "=disabled", 1), failed, "after a power cut nobody watches"},
		{strings.Replace(well, "=active", "=failed", 1), failed, "it is not active (failed)"},
		{strings.Replace(well, "1min", "infinity", 1), failed, "one that hangs is not started anew"},
		{strings.Replace(well, "=always", "=no", 1), look, "Restart=no"},
		{strings.Replace(well, "NRestarts=0", "NRestarts=7", 1), look, "7 times"},
		{"LoadState=not-found\n", failed, "systemd knows no nestmon.service (not-found)"},
		{"", failed, "not told"},
	} {
		root, bin := t.TempDir(), t.TempDir()
		if err := os.MkdirAll(filepath.Join(root, "run/systemd/system"), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(bin, "systemctl"), []byte("#!/bin/sh\nprintf '%s' '"+row.prints+"'\n"), 0o755); err != nil {
			t.Fatal(err)
		}
		t.Setenv("PATH", bin+string(filepath.ListSeparator)+os.Getenv("PATH"))
		signs := examine(t.Context(), examination{"service", examineService, false}, &patient{root: root})
		has(t, signs, "service", row.v, row.says)
		if row.v != good && slices.ContainsFunc(signs, func(s sign) bool { return s.Verdict == good }) {
			t.Errorf("%q: %+v", row.prints, signs)
		}
	}
}

// A daemon that polls no more answers all the same, and so does one of an older version; neither is called good.
func TestDoctorOfADaemonThatHangs(t *testing.T) {
	p := &patient{cfg: &config{Poll: 30 * time.Second}, now: time.Now(), daemon: living{there: true}}
	p.daemon.state.PublishedAgo = 3600
	p.daemon.state.Version = "v0.0.1"
	p.daemon.state.Alarms = []alarmView{{Event: "daemon-fault", Text: "The archive cannot be written. Free some space."}}
	signs := examine(t.Context(), examination{"daemon", examineDaemon, false}, p)
	has(t, signs, "daemon", failed, "the last whole poll was 1h ago, with a poll every 30s")
	has(t, signs, "daemon", look, "version v0.0.1 runs")
	has(t, signs, "daemon", look, "its own alarm stands: The archive cannot be written")
	signs = examine(t.Context(), examination{"service", examineService, false}, p)
	has(t, signs, "service", unseen, "does not tell whether it is watched")
}

// What this user may not see is never good: a member of the group sees that files are closed, and the daemon's own user which of them are.
func TestDoctorSaysWhatItMayNotSee(t *testing.T) {
	if os.Geteuid() == 0 {
		t.Skip("root may see everything")
	}
	dir := t.TempDir()
	boardtest.Put(t, filepath.Join(dir, "data/book.db"), "x")
	boardtest.Put(t, filepath.Join(dir, "secret"), "x")
	for _, closed := range []string{"secret", "data"} {
		if err := os.Chmod(filepath.Join(dir, closed), 0); err != nil {
			t.Fatal(err)
		}
	}
	defer os.Chmod(filepath.Join(dir, "data"), 0o700) //nolint:errcheck // for the removal
	c, findings := parseConfig([]byte("site: {}\ndata: "+dir+"/data\nprobes: [{id: a, source: w1, rom: 28-0316a2794d5f}]\nnests: [{id: a, kind: wooden-box, air: a}]\n"+
		"publish: {influxdb: {url: 'http://127.0.0.1:1', bucket: b, token_file: "+dir+"/secret}}\n"), time.Now())
	if anyError(findings) {
		t.Fatal(findings)
	}
	p := &patient{cfg: c, file: "nestmon.yaml", root: t.TempDir(), now: time.Now(), self: accountOf(uint32(os.Geteuid())), host: account{uid: 4711, known: true}}
	for topic, look := range map[string]func(context.Context, *patient) []sign{
		"secrets": examineSecrets, "rights": examineRights, "disk": examineDisk, "archive": examineArchive, "backup": examineBackup, "servers": examineServers, "probes": examineProbes,
	} {
		has(t, examine(t.Context(), examination{topic, look, false}, p), topic, unseen, "sudo -u nestmon")
	}
}

// After a command of root's a file may be root's: the daemon reads on, and fails at its next start.
func TestDoctorFindsFilesThatTheDaemonMayNotUse(t *testing.T) {
	dir := t.TempDir()
	boardtest.Put(t, filepath.Join(dir, "data/book.db"), "x")
	if err := os.Chmod(filepath.Join(dir, "data/book.db"), 0o400); err != nil {
		t.Fatal(err)
	}
	self := accountOf(uint32(os.Geteuid()))
	p := &patient{cfg: &config{Data: filepath.Join(dir, "data")}, file: filepath.Join(dir, "nestmon.yaml"), self: self, host: self}
	if p.host.root() {
		p.host = account{uid: 4711, gids: []uint32{4711}, known: true, name: "nestmon"} // for root nothing is closed
	}
	signs := examine(t.Context(), examination{"rights", examineRights, false}, p)
	has(t, signs, "rights", failed, "may not read and write "+filepath.Join(dir, "data/book.db"))
}

// Near its end a certificate is told of, by the length of its life.
func TestDoctorReadsTheEndOfCertificates(t *testing.T) {
	server := httptest.NewUnstartedServer(http.NotFoundHandler())
	server.Config.ErrorLog = slog.NewLogLogger(slog.DiscardHandler, slog.LevelError)
	server.StartTLS()
	defer server.Close()
	c, findings := parseConfig([]byte("site: {}\nprobes: [{id: a, source: w1, rom: 28-0316a2794d5f}]\nnests: [{id: a, kind: wooden-box, air: a}]\npublish: {mqtt: {broker: 'ssl://"+
		strings.TrimPrefix(server.URL, "https://")+"'}, influxdb: {url: 'https://127.0.0.1:1', bucket: b, token: x}}\n"), time.Now())
	if anyError(findings) {
		t.Fatal(findings)
	}
	end := server.Certificate().NotAfter
	for _, row := range []struct {
		now  time.Time
		v    verdict
		says string
	}{{end.AddDate(0, -2, 0), good, "is good until"}, {end.AddDate(0, 0, -20), look, "ends on"}, {end.AddDate(0, 0, 1), failed, "ended on"}} {
		signs := examine(t.Context(), examination{"certificates", examineCertificates, false}, &patient{cfg: c, now: row.now})
		has(t, signs, "certificates", row.v, "publish.mqtt "+row.says)
		has(t, signs, "certificates", unseen, "publish.influxdb shows none")
	}
	if soonOf(90*24*time.Hour) >= 30*24*time.Hour {
		t.Error("one that renews itself a month before its end is told of before it could")
	}
}

func TestDoctorWithoutAUsableConfiguration(t *testing.T) {
	file := filepath.Join(t.TempDir(), "nestmon.yaml")
	if err := os.WriteFile(file, []byte("pol: 30s\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if said := says(t, exitWrongUse, "doctor", "--config", file); !strings.Contains(said, `unknown key "pol"`) {
		t.Errorf("said %q", said)
	}
}

// That nobody is called fails, be it that no channel is configured or that no phone has signed up on the only one.
func TestDoctorFailsWhereNobodyIsCalled(t *testing.T) {
	file := filepath.Join(t.TempDir(), "nestmon.yaml")
	for name, row := range map[string]struct {
		phone  string
		look   func(context.Context, *patient) []sign
		nobody bool
		want   string
	}{
		"no channel":             {"", examineConfiguration, false, "nobody is called when an alarm comes"},
		"no phone has signed up": {"phone: {channels: [{name: board, push: {contact: \"mailto:keeper@willow-bend.example\"}}]}\n", examinePhone, true, "nobody is called when an alarm comes"},
	} {
		t.Run(name, func(t *testing.T) {
			if err := os.WriteFile(file, []byte("data: "+filepath.Dir(file)+"\nprobes: [{id: p, source: recorded}]\nnests: [{id: oak, kind: wooden-box, air: p}]\npublish: {page: {}}\n"+row.phone), 0o600); err != nil {
				t.Fatal(err)
			}
			cfg, findings, err := loadConfig(file)
			if err != nil || anyError(findings) {
				t.Fatal(err, findings)
			}
			p := &patient{cfg: cfg, file: file, root: t.TempDir(), now: time.Now(), std: stdio{in: strings.NewReader("")}}
			p.daemon.there, p.daemon.state.Nobody = true, row.nobody
			has(t, row.look(t.Context(), p), "", failed, row.want)
		})
	}
}
