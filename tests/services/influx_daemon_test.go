package services_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// canary is a password that must be nowhere but in the requests.
const canary = "canary-7Hq2-vX"

// The built program, on archives that wait for a server.
func TestInfluxThroughTheDaemon(t *testing.T) {
	t.Parallel()
	binary(t, "influxd")
	server, program := startInfluxd(t), built(t)
	server.query(t, "CREATE USER keeper WITH PASSWORD '"+canary+"'")
	for _, row := range []struct {
		name string
		run  func(t *testing.T, server *influxd, program string)
	}{{"set up wrongly", setUpWrongly}, {"killed on both sides", killedOnBothSides}, {"refused, then mended", refusedThenMended}} {
		t.Run(row.name, func(t *testing.T) { row.run(t, server, program) })
	}
}

// What a person got wrong is told once in the log, on the page and in a metric, with what to do; and no secret with it.
func setUpWrongly(t *testing.T, server *influxd, program string) {
	server.query(t, "CREATE DATABASE nest")
	server.query(t, "GRANT WRITE ON nest TO keeper")
	server.query(t, "CREATE USER guest WITH PASSWORD '"+canary+"'")
	host := strings.TrimPrefix(server.url, "http://")
	type live struct {
		shed
		page, exported, config string
		daemon                 *process
	}
	rows := []struct {
		name, url, bucket, token string
		wrong                    bool
		want                     string
		live
	}{
		{name: "a bucket that does not exist", url: server.url, bucket: "nset", token: "NESTMON_CANARY", wrong: true, want: `bucket \"nset\": a bucket is not made by writing to it`},
		{name: "a wrong token", url: server.url, bucket: "nest", token: "NESTMON_WRONG", wrong: true, want: "401"},
		{name: "a token without the right", url: server.url, bucket: "nest", token: "NESTMON_GUEST", wrong: true, want: "it is user:password) and its right to write to bucket"},
		{name: "no such host", url: "http://nowhere.invalid:8086", bucket: "nest", token: "NESTMON_CANARY", want: "no answer"},
		{name: "nobody listens", url: fmt.Sprintf("http://127.0.0.1:%d", freePort(t)), bucket: "nest", token: "NESTMON_CANARY", want: "is the server running, and are host and port of publish.influxdb.url right?"},
		{name: "a path too much", url: server.url + "/ui/", bucket: "nest", token: "NESTMON_CANARY", wrong: true, want: "nothing there takes readings"},
		{name: "https to a plain port", url: "https://" + host, bucket: "nest", token: "NESTMON_CANARY", wrong: true, want: "write http:// in publish.influxdb.url"},
	}
	for i := range rows {
		row := &rows[i]
		row.shed = shed{nests: 1, dir: t.TempDir()}
		row.fill(t, 20, time.Now().Add(-time.Hour))
		row.page, row.exported = fmt.Sprintf("127.0.0.1:%d", freePort(t)), fmt.Sprintf("127.0.0.1:%d", freePort(t))
		row.config = row.shed.config(t, fmt.Sprintf("  page: {listen: %q}\n  prometheus: {listen: %q}\n  influxdb: {url: %q, bucket: %s, token: \"${%s}\"}",
			row.page, row.exported, row.url, row.bucket, row.token))
		row.daemon = launch(t, built(t), "run", "--verbose", "--config", row.config, "--root", t.TempDir())
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			eventually(t, "the page tells it", func() bool { sink := influxOf(t, row.page); return sink.Error != "" && (!row.wrong || sink.Wrong) })
			state := fetch("http://" + row.page + "/api/state")
			if sink := influxOf(t, row.page); sink.OK || !strings.Contains(state, row.want) || sink.Pending != 60 {
				t.Errorf("%+v, want %q and 60 waiting", sink, row.want)
			}
			metrics := fetch("http://" + row.exported + "/metrics")
			// Whether a name does not exist or cannot be asked for depends on this machine's network.
			if strings.Contains(metrics, `nestmon_sink_misconfigured{sink="influx"} 1`) != row.wrong && row.name != "no such host" ||
				!strings.Contains(metrics, `nestmon_sink_up{sink="influx"} 0`) {
				t.Errorf("misconfigured %v is not in the metrics:\n%s", row.wrong, metrics)
			}
			status, _ := exec.Command(program, "status", "--config", row.config).CombinedOutput()
			if want := strings.ReplaceAll(row.want, `\"`, `"`); !strings.Contains(string(status), want) {
				t.Errorf("status does not say %q:\n%s", want, status)
			}
			tried, err := exec.Command(program, "check", "--connect", "--config", row.config, "--root", t.TempDir()).CombinedOutput()
			if want := strings.ReplaceAll(row.want, `\"`, `"`); err == nil || !strings.Contains(string(tried), "publish.influxdb: influx: ") || !strings.Contains(string(tried), want) {
				t.Errorf("check --connect: %v, want %q:\n%s", err, want, tried)
			}
			row.daemon.end()
			log := row.daemon.out.String()
			if n := strings.Count(log, "sink=influx"); n != 1 {
				t.Errorf("the log tells %d times of it, want once:\n%s", n, log)
			}
			for what, text := range map[string]string{"page": state, "metrics": metrics, "status": string(status), "check": string(tried), "log": log} {
				if strings.Contains(text, canary) {
					t.Errorf("the password is in the %s", what)
				}
			}
			withoutCanary(t, row.data())
		})
	}
}

// withoutCanary looks for the password in every file of a folder.
func withoutCanary(t *testing.T, dir string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		text, err := os.ReadFile(path)
		if bytes.Contains(text, []byte(canary)) {
			t.Errorf("the password is in %s", path)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}

// Server and daemon are both killed in the middle of it, a reply is lost, and then the past is sent again, with another kill: everything
// arrives, and whatever crosses the wire more than once is the same each time.
func killedOnBothSides(t *testing.T, server *influxd, program string) {
	const polls = 3000
	server.query(t, "CREATE DATABASE killed")
	s := shed{nests: 2, dir: t.TempDir()}
	from := time.Now().Add(-polls * spacing).Truncate(time.Second)
	s.fill(t, polls, from)
	w := newWire(t, server.url)
	page := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	config := s.config(t, fmt.Sprintf("  page: {listen: %q}\n  influxdb: {url: %q, bucket: killed, token: %q}", page, w.url(), goodToken))
	run := func() *process { return launch(t, built(t), "run", "--config", config, "--root", t.TempDir()) }
	full := func() bool {
		return server.count(t, "killed", "n0-air") == polls && server.count(t, "killed", "n1-cluster") == polls
	}

	held := w.hold(2, stored) // the second request is stored and its reply never comes
	daemon := run()
	<-held
	server.kill()
	daemon.kill()
	w.letGo()
	daemon = run()
	eventually(t, "the sink is reported as failed", func() bool { return influxOf(t, page).Error != "" })
	daemon.kill()
	server.up(t)
	held = w.hold(2, unsent)
	daemon = run()
	<-held
	daemon.kill()
	w.letGo()
	daemon = run()
	eventually(t, "everything", full)
	want := map[point]bool{}
	s.each(t, func(p storedPoll) {
		for _, r := range p.Readings {
			want[point{r.Probe, r.Quantity.String(), r.Time.Unix(), r.Value}] = true
		}
	})
	if len(want) != polls*6 {
		t.Fatalf("the archive holds %d readings, want %d", len(want), polls*6)
	}
	compare(t, server.points(t, "killed"), want)

	// The database is lost, and made anew.
	eventually(t, "nothing waits", func() bool { sink := influxOf(t, page); return sink.OK && sink.Pending == 0 })
	server.query(t, "DROP DATABASE killed")
	server.query(t, "CREATE DATABASE killed")
	command := func(want string, args ...string) string {
		t.Helper()
		out, err := exec.Command(program, append(args, "--config", config)...).CombinedOutput()
		if !strings.Contains(string(out), want) {
			t.Errorf("%v: %v\n%s\nwant %q", args, err, out, want)
		}
		return string(out)
	}
	command("there is no sink \"inflix\" that takes past readings; write --sink influx", "backfill", "--from", "2020-01-01", "--sink", "inflix")
	command("is kept by the hour only", "backfill", "--from", "2020-01-01", "--to", "2020-02-01")
	command("is in the future", "backfill", "--from", "2020-01-01", "--to", "2199-01-01")
	held = w.hold(2, unsent)
	command(fmt.Sprintf("%d polls of", polls), "backfill", "--from", "2020-01-01")
	<-held
	command("nestmon backfill --stop", "backfill", "--from", "2020-01-01")
	daemon.kill()
	w.letGo()
	daemon = run()
	eventually(t, "the past", full)
	compare(t, server.points(t, "killed"), want)
	eventually(t, "the page tells it", func() bool { b := influxOf(t, page).Backfill; return b != nil && b.Sent == polls })
	command("influx: 3000 of 3000 polls of", "status")
	command("Ended: 3000 of 3000 polls", "backfill", "--stop")
	daemon.end()
	if n := w.repeated(); n < polls*4 {
		t.Errorf("%d lines crossed the wire more than once, want at least %d", n, polls*4)
	}
}

// What a server refuses is listed with the command that sends it again.
func refusedThenMended(t *testing.T, server *influxd, program string) {
	const polls = 100
	server.query(t, "CREATE DATABASE mended")
	server.query(t, "GRANT WRITE ON mended TO keeper")
	server.plant(t, "mended", fmt.Sprintf("nestmon,probe=planted humidity=\"much\" %d", time.Now().Add(-2*time.Hour).Unix()))
	s := shed{nests: 2, dir: t.TempDir()}
	s.fill(t, polls, time.Now().Add(-2*time.Hour).Truncate(time.Second))
	page, exported := fmt.Sprintf("127.0.0.1:%d", freePort(t)), fmt.Sprintf("127.0.0.1:%d", freePort(t))
	config := s.config(t, fmt.Sprintf("  page: {listen: %q}\n  prometheus: {listen: %q}\n  influxdb: {url: %q, bucket: mended, token: \"${NESTMON_CANARY}\"}", page, exported, server.url))
	tried, _ := exec.Command(program, "check", "--connect", "--config", config, "--root", t.TempDir()).CombinedOutput()
	if !strings.Contains(string(tried), "reached   publish.influxdb: "+server.url+", bucket mended") {
		t.Errorf("check --connect:\n%s", tried)
	}
	daemon := launch(t, built(t), "run", "--config", config, "--root", t.TempDir())
	eventually(t, "the page tells it", func() bool { sink := influxOf(t, page); return sink.Refused > 0 && sink.Pending == 0 })
	if sink := influxOf(t, page); !sink.OK || sink.Refused+sink.Sent < polls*6 {
		t.Errorf("%+v: want the sink well", sink)
	}
	if n := server.count(t, "mended", "n0-cluster"); n != polls {
		t.Errorf("%d of %d values of a probe without humidity are there", n, polls)
	}
	if text := fetch("http://" + exported + "/metrics"); !strings.Contains(text, `nestmon_sink_refused_total{sink="influx"}`) {
		t.Error("the refusal is not in the metrics")
	}
	if n := strings.Count(daemon.out.String(), "sink refused for good"); n != 1 {
		t.Errorf("the log tells %d times of it, want once:\n%s", n, daemon.out)
	}
	list, err := exec.Command(program, "export", "--refused", "--config", config).Output()
	if err != nil {
		t.Fatal(err)
	}
	var r struct {
		Sink, Reason, Again string
		Polls, Readings     int64
		Series              []string
	}
	if err := json.Unmarshal(list, &r); err != nil || r.Polls != polls || !strings.Contains(r.Reason, "field type conflict") ||
		fmt.Sprint(r.Series) != "[n0-air humidity n0-air temperature n1-air humidity n1-air temperature]" {
		t.Errorf("%s%v: want one line for all of it", list, err)
	}
	server.query(t, "DROP DATABASE mended")
	server.query(t, "CREATE DATABASE mended")
	server.query(t, "GRANT WRITE ON mended TO keeper")
	again := strings.Fields(r.Again)
	if len(again) < 2 || again[0] != "nestmon" {
		t.Fatalf("again: %q", r.Again)
	}
	if out, err := exec.Command(program, append(again[1:], "--config", config)...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", r.Again, err, out)
	}
	eventually(t, "all of it", func() bool {
		return server.count(t, "mended", "n0-air") == polls && server.count(t, "mended", "n1-air") == polls
	})
	daemon.end()
	if strings.Contains(daemon.out.String()+string(list), canary) {
		t.Error("the password is in what was said")
	}
	withoutCanary(t, s.data())
}
