package services_test

import (
	"encoding/csv"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// The bytes of a DS18B20 at 38.0 °C and at -0.5 °C: its datasheet's coding, checksums computed by the Dallas polynomial.
const (
	warmScratchpad = "60 02 4b 46 7f ff 10 10 f2"
	coldScratchpad = "f8 ff 4b 46 7f ff 08 10 f8"
)

// board is a folder that looks like a board's /: one 1-Wire bus and one chip on I2C as the kernel shows them.
type board struct{ root string }

func newBoard(t *testing.T) board {
	t.Helper()
	b := board{t.TempDir()}
	b.probe(t, "28-0316a2794d5f", warmScratchpad, 38000)
	b.chip(t, 21450, 63120)
	return b
}

func (b board) put(t *testing.T, path, text string) {
	t.Helper()
	path = filepath.Join(b.root, path)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	// A driver's file changes at once; a file that is written is empty for a moment, so it is written beside and renamed.
	if err := os.WriteFile(path+".new", []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(path+".new", path); err != nil {
		t.Fatal(err)
	}
}

func (b board) probe(t *testing.T, rom, scratchpad string, milli int) {
	t.Helper()
	bytes := strings.Split(scratchpad, " ")
	b.put(t, "sys/bus/w1/devices/"+rom+"/w1_slave", fmt.Sprintf("%s : crc=%s YES\n%s t=%d\n", scratchpad, bytes[8], scratchpad, milli))
}

func (b board) chip(t *testing.T, milliC, milliRH int) {
	t.Helper()
	const chip = "sys/devices/i2c-1/1-0044"
	b.put(t, chip+"/hwmon/hwmon3/name", "sht4x\n")
	b.put(t, chip+"/hwmon/hwmon3/temp1_input", strconv.Itoa(milliC)+"\n")
	b.put(t, chip+"/hwmon/hwmon3/humidity1_input", strconv.Itoa(milliRH)+"\n")
	for from, to := range map[string]string{"sys/class/hwmon/hwmon3": chip + "/hwmon/hwmon3", "sys/bus/i2c/devices/1-0044": chip} {
		from, to = filepath.Join(b.root, from), filepath.Join(b.root, to)
		if err := os.MkdirAll(filepath.Dir(from), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(to, from); err != nil && !os.IsExist(err) {
			t.Fatal(err)
		}
	}
}

// oak is the part of a configuration that describes the only nest of a board.
const oak = `poll: 5s
probes:
  - {id: oak-cluster, source: w1, rom: 28-0316a2794d5f, stale_after: 20s}
  - {id: oak-air, source: kernel, device: sht4x}
nests:
  - {id: oak, kind: wooden-box, cluster: oak-cluster, air: oak-air}
`

// ears are the phone: they keep what is posted.
type ears struct {
	*httptest.Server
	mu    sync.Mutex
	heard []string
}

func listen(t *testing.T) *ears {
	t.Helper()
	e := &ears{}
	e.Server = httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		text, _ := io.ReadAll(r.Body)
		e.mu.Lock()
		defer e.mu.Unlock()
		e.heard = append(e.heard, string(text))
	}))
	t.Cleanup(e.Close)
	return e
}

func (e *ears) hear(words string) bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	for _, text := range e.heard {
		if strings.Contains(text, words) {
			return true
		}
	}
	return false
}

// TestDaemon runs the built program on a board's files against real services, and compares what they hold with the archive.
func TestDaemon(t *testing.T) {
	t.Parallel()
	binary(t, "prometheus")
	influx, broker, phone, b, dir := startInfluxd(t), startMosquitto(t), listen(t), newBoard(t), t.TempDir()
	influx.query(t, "CREATE DATABASE nest")
	program := built(t)
	exported, page := fmt.Sprintf("127.0.0.1:%d", freePort(t)), fmt.Sprintf("127.0.0.1:%d", freePort(t))
	data := filepath.Join(dir, "data")
	if err := os.Mkdir(data, 0o700); err != nil {
		t.Fatal(err)
	}
	spoilt := write(t, filepath.Join(data, "readings.db"), strings.Repeat("this was an archive once. ", 400))
	config := write(t, filepath.Join(dir, "nestmon.yaml"), fmt.Sprintf(`
site: {id: barn, name: Barn, timezone: UTC, display: celsius}
data: %s
`+oak+`publish:
  page: {listen: "%s"}
  prometheus: {listen: "%s"}
  mqtt: {broker: "tcp://%s", device: barn}
  influxdb: {url: "%s", bucket: nest, token: "admin:pw-9f3"}
phone: {channels: [{name: mobile, url: "%s", format: json, at_least: notice}]}
`, data, page, exported, broker.addr, influx.url, phone.URL))
	server := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	prometheus := write(t, filepath.Join(dir, "prometheus.yml"), fmt.Sprintf(
		"global: {scrape_interval: 1s}\nscrape_configs: [{job_name: nest, static_configs: [{targets: ['%s']}]}]\n", exported))
	start(t, "prometheus", "--config.file="+prometheus, "--storage.tsdb.path="+filepath.Join(dir, "tsdb"), "--web.listen-address="+server).
		ready(t, answers("http://"+server+"/-/ready"))
	daemon := launch(t, built(t), "run", "--config", config, "--root", b.root)
	daemon.ready(t, answers("http://"+page+"/healthz"))

	subscriber := observe(t, broker.addr, nil)
	shown := func(cluster, air, humidity string) func() bool {
		return func() bool {
			topics := subscriber.holds()
			return topics[barn+"/oak/cluster-temperature"] == cluster && topics[barn+"/oak/air-temperature"] == air && topics[barn+"/oak/air-humidity"] == humidity &&
				instant(t, server, `nestmon_probe_temperature_celsius{role="cluster"}`) == cluster &&
				instant(t, server, `nestmon_probe_temperature_celsius{role="air"}`) == air
		}
	}
	eventually(t, "MQTT and Prometheus show what the board reads", shown("38", "21.45", "63.12"))
	b.probe(t, "28-0316a2794d5f", coldScratchpad, -500)
	b.chip(t, -1250, 99870)
	eventually(t, "and follow it", shown("-0.5", "-1.25", "99.87"))
	grafanaOnPrometheus(t, server, ".*", notOnThisBoard)
	grafanaOnInfluxdb(t, influx, "nest", notOnThisBoard)

	if err := os.RemoveAll(filepath.Join(b.root, "sys/bus/w1/devices/28-0316a2794d5f")); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the lost probe's value leaves MQTT", func() bool { return subscriber.holds()[barn+"/oak/cluster-temperature"] == "" })
	eventually(t, "the phone hears that an archive file was set aside", func() bool { return phone.hear("daemon-fault") })
	// Of a nest without kits it is a notice, which waits for the day's digest.
	eventually(t, "MQTT tells of the lost probe", func() bool { return strings.Contains(subscriber.holds()[barn+"/oak/alarm-status"], "probe-silent") })
	if left, err := filepath.Glob(spoilt + "*"); err != nil || len(left) < 2 {
		t.Errorf("the spoilt archive was not kept beside the new one: %v %v", left, err)
	}

	run := func(args ...string) (string, int) {
		cmd := exec.Command(program, args...)
		out, _ := cmd.CombinedOutput()
		return string(out), cmd.ProcessState.ExitCode()
	}
	if out, code := run("status", "--config", config); code != 1 || !strings.Contains(out, "probe-silent") || !strings.Contains(out, "oak") {
		t.Errorf("status: exit %d\n%s", code, out)
	}
	if out, code := run("litter", "bred", "--config", config, "--nest", "oak", "--on", "2026-10-20"); code != 0 || !strings.Contains(out, "Saved as entry 1: litter 1 (oak): bred on 2026-10-20.") {
		t.Errorf("litter: exit %d\n%s", code, out)
	}
	none := filepath.Join(dir, "none.csv")
	if err := os.WriteFile(none, []byte("time,probe,temperature_c\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, code := run("import", "--config", config, "--readings", none); code != 2 || !strings.Contains(out, "stop that one first") {
		t.Errorf("readings, while the daemon runs: exit %d\n%s", code, out)
	}
	if out, code := run("alarms", "ack", "--config", config, "--nest", "oak", "--event", "probe-silent"); code != 0 {
		t.Errorf("alarms ack: exit %d\n%s", code, out)
	}
	eventually(t, "MQTT shows that it was seen", func() bool {
		return strings.Contains(subscriber.holds()[barn+"/oak/acknowledged-alarms"], "probe-silent")
	})

	if err := daemon.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	<-daemon.done
	if code := daemon.cmd.ProcessState.ExitCode(); code != 0 {
		t.Errorf("stopped with exit %d", code)
	}
	eventually(t, "a clean goodbye", func() bool { return subscriber.holds()[barnState] == "disconnected" })

	file := filepath.Join(dir, "readings.csv")
	if out, code := run("export", "--config", config, "--out", file); code != 0 {
		t.Fatalf("export: exit %d\n%s", code, out)
	}
	out, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	archived := exportedPoints(t, string(out))
	if len(archived) < 9 {
		t.Fatalf("the archive holds %d values, too few to compare:\n%s", len(archived), out)
	}
	if out, code := run("import", "--config", config, "--readings", file); code != 0 || !strings.Contains(out, ": 0 readings of 0 polls.") {
		t.Errorf("what is there already, imported: exit %d\n%s", code, out)
	}
	stored := influx.points(t, "nest")
	for p := range stored {
		if !archived[p] {
			t.Errorf("InfluxDB holds %v, the archive does not", p)
		}
	}
	// What the last moments brought waits for the next start; everything before must be there.
	if len(stored) < len(archived)-6 {
		t.Errorf("InfluxDB holds %d values, the archive %d", len(stored), len(archived))
	}
}

// notOnThisBoard is what the dashboards ask for in vain there: no litter is entered, so that no core is estimated and no limit of the kits is in
// force; no probe hangs outside or in the cage or measures carbon dioxide or a battery; files count no traffic; nothing waits, is doubted, wrong, too old or set aside.
var notOnThisBoard = []string{
	"litter_kindled", "cluster_core", `limit="cluster-`, `limit="air-cold"`,
	`role="outside"`, `"role" = 'outside'`, "outside_rabbit_thi", `role="cage"`, `"role" = 'cage'`, "carbon_dioxide", `"co2"`,
	"voltage", "current_amperes", `"current"`, "bus_busy", "bus_errors", "spool_oldest", "sink_misconfigured", "sink_pruned", "by (site, nest, role, probe, reason)",
	`nestmon_alarm_severity{site=~"$site"} > 0`, "alarm_raised", "alarms_quieted",
}

// exportedPoints reads what `nestmon export` wrote.
func exportedPoints(t *testing.T, text string) map[point]bool {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatalf("export is no CSV: %v\n%s", err, text)
	}
	all := map[point]bool{}
	for _, row := range rows[1:] {
		cell := map[string]string{}
		for i, name := range rows[0] {
			cell[name] = row[i]
		}
		at, err := time.Parse(time.RFC3339, cell["time"])
		if err != nil {
			t.Fatal(err)
		}
		for column, quantity := range map[string]string{"temperature_c": "temperature", "humidity_pct": "humidity", "co2_ppm": "co2"} {
			if cell[column] == "" {
				continue
			}
			v, err := strconv.ParseFloat(cell[column], 64)
			if err != nil {
				t.Fatal(err)
			}
			all[point{cell["probe"], quantity, at.Unix(), v}] = true
		}
	}
	return all
}
