package services_test

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/url"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"nestmon/exporter"
	"nestmon/exporter/metrics"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// coldMorning is an invented state: one nest in trouble, a silent air probe in the other.
func coldMorning(now time.Time) *exporter.State {
	value := func(role thresholds.Role, probe string, q sensors.Quantity, v float64, fresh bool) thresholds.Value {
		return thresholds.Value{Role: role, Probe: probe, Quantity: q, Value: v, Time: now, Fresh: fresh}
	}
	return &exporter.State{
		Started: now.Add(-time.Hour), Synced: true, Version: "test",
		Sinks:  []exporter.SinkHealth{{Name: "influx", OK: true, Owes: true, Sent: 12, Pending: 3, OldestAt: now}},
		Buses:  []sensors.BusHealth{{Bus: "w1", Up: true}},
		Probes: []sensors.Health{{Probe: "a1-cluster", Reads: 100, LastGood: now}, {Probe: "b2-air", Reads: 200, LastGood: now.Add(-time.Hour), Rejected: map[sensors.Fault]uint64{sensors.NoAnswer: 7}}},
		Snapshot: thresholds.Snapshot{
			Time: now, Season: brood.Winter,
			Outside: thresholds.Place{Values: []thresholds.Value{value(thresholds.Outside, "outside", sensors.Temperature, -11.5, true)}},
			Nests: []thresholds.NestState{
				{ID: "a1", Kind: brood.WoodenBox, Stage: thresholds.Nursing, Values: []thresholds.Value{
					value(thresholds.Cluster, "a1-cluster", sensors.Temperature, 30.25, true),
					value(thresholds.Air, "a1-air", sensors.Humidity, 61.5, true),
				}, Judged: []thresholds.Judgement{{Danger: "chill", Judged: true}}},
				{ID: "b2", Kind: brood.MetalBox, Stage: thresholds.Waiting, Values: []thresholds.Value{value(thresholds.Air, "b2-air", sensors.Temperature, 12, false)}},
			},
			Alarms: []alarm.Standing{{Event: alarm.Event{Nest: "a1", Name: alarm.ClusterChill, State: alarm.Raised, Severity: alarm.Urgent, Time: now}}},
		},
	}
}

// serve publishes coldMorning and returns the address.
func serve(t *testing.T) (sink *metrics.Sink, address string) {
	t.Helper()
	sink = metrics.New()
	if err := sink.Publish(t.Context(), coldMorning(time.Now())); err != nil {
		t.Fatal(err)
	}
	address = fmt.Sprintf("127.0.0.1:%d", freePort(t))
	if err := sink.Serve(metrics.Config{Listen: address}, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		_ = sink.Close(ctx)
	})
	return sink, address
}

func body(t *testing.T, url string) string {
	t.Helper()
	resp, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK {
		t.Fatalf("%s: %d %v", url, resp.StatusCode, err)
	}
	return string(text)
}

// promtool check metrics is an outside check of names, units and help (it also accepts an empty body, hence the count).
func TestPromtoolFindsNothing(t *testing.T) {
	promtool := binary(t, "promtool")
	_, address := serve(t)
	text := body(t, "http://"+address+"/metrics")
	if n := strings.Count(text, "\nnestmon_"); n < 50 {
		t.Fatalf("only %d samples", n)
	}
	check := exec.Command(promtool, "check", "metrics")
	check.Stdin = strings.NewReader(text)
	if out, err := check.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("promtool: %v\n%s", err, out)
	}
	// The check can fail: a name with a unit promtool does not like.
	check = exec.Command(promtool, "check", "metrics")
	check.Stdin = strings.NewReader("# HELP nest_days x\n# TYPE nest_days gauge\nnest_days 1\n")
	if err := check.Run(); err == nil {
		t.Error("promtool accepts a metric in days, so it checks nothing")
	}
}

func TestPrometheusScrapesWhatWasPublished(t *testing.T) {
	t.Parallel()
	binary(t, "prometheus")
	sink, address := serve(t)
	dir := t.TempDir()
	config := write(t, filepath.Join(dir, "prometheus.yml"), fmt.Sprintf(
		"global: {scrape_interval: 1s}\nscrape_configs: [{job_name: nest, static_configs: [{targets: ['%s'], labels: {site: barn}}]}]\n", address))
	server := fmt.Sprintf("127.0.0.1:%d", freePort(t))
	start(t, "prometheus", "--config.file="+config, "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+server).
		ready(t, answers("http://"+server+"/-/ready"))

	ask := func(query string) string { return instant(t, server, query) }
	eventually(t, "a scrape", func() bool { return ask(`up{job="nest"}`) == "1" })
	for _, row := range []struct{ query, want string }{
		{`nestmon_probe_temperature_celsius{nest="a1",role="cluster"}`, "30.25"},
		{`nestmon_probe_temperature_celsius{role="outside"}`, "-11.5"},
		{`nestmon_probe_humidity_ratio{nest="a1"}`, "0.615"},
		{`nestmon_probe_temperature_celsius{nest="b2"}`, "nothing"},
		{`nestmon_probe_up{probe="b2-air"}`, "0"},
		{`nestmon_alarm_severity{nest="a1",event="cluster-chill"}`, "3"},
		{`nestmon_alarm_severity{nest="b2",event="cluster-chill"}`, "0"},
		{`max by (event) (nestmon_alarm_severity{nest="",event="bus-fault"})`, "0"},
		{`nestmon_probe_read_errors_total{reason="no-answer"}`, "7"},
		{`nestmon_spool_points{sink="influx"}`, "3"},
		{`nestmon_danger_judged{nest="a1",danger="chill"}`, "1"},
		{`time() - nestmon_snapshot_timestamp_seconds < bool 600`, "1"},
	} {
		if got := ask(row.query); got != row.want {
			t.Errorf("%s: %s, want %s", row.query, got, row.want)
		}
	}

	// A probe that falls silent ends its series at the next scrape, not after the five minutes Prometheus looks back.
	silent := coldMorning(time.Now())
	silent.Snapshot.Nests[0].Values[0].Fresh = false
	if err := sink.Publish(t.Context(), silent); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the series of the silent probe ends", func() bool {
		return ask(`nestmon_probe_temperature_celsius{nest="a1"}`) == "nothing" && ask(`nestmon_probe_up{probe="a1-cluster"}`) == "0"
	})

	t.Run("dashboards", func(t *testing.T) {
		if err := sink.Publish(t.Context(), everything(time.Now())); err != nil {
			t.Fatal(err)
		}
		eventually(t, "the new state", func() bool { return ask(`nestmon_chores_due{nest="oak"}`) == "1" })
		grafanaOnPrometheus(t, server, "barn", nil)
		followsTheDegrees(t, server)
		noFalseAllClear(t, server, sink)
	})
}

// instant asks for the one value of a query, or "nothing".
func instant(t *testing.T, server, query string) string {
	t.Helper()
	var answer struct {
		Data struct {
			Result []struct{ Value [2]any }
		}
	}
	text := body(t, "http://"+server+"/api/v1/query?query="+url.QueryEscape(query))
	if err := json.Unmarshal([]byte(text), &answer); err != nil {
		t.Fatal(err)
	}
	switch len(answer.Data.Result) {
	case 0:
		return "nothing"
	case 1:
		return fmt.Sprint(answer.Data.Result[0].Value[1])
	}
	return "several: " + text
}
