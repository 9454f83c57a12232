//go:build promql

package query_test

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/api"
	v1 "github.com/prometheus/client_golang/api/prometheus/v1"
	"github.com/prometheus/common/model"

	"nestmon/exporter/metrics"
)

// program finds what NESTMON_NAME or the path names, or skips the test, as the tests of services do.
func program(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(cmp.Or(os.Getenv("NESTMON_"+strings.ToUpper(name)), name))
	if err != nil && os.Getenv("NESTMON_REQUIRE_SERVICES") == "1" {
		t.Fatalf("%s is not installed: %v", name, err)
	} else if err != nil {
		t.Skipf("skipped: %s is not installed; install it or name its path in NESTMON_%s", name, strings.ToUpper(name))
	}
	return path
}

// prometheus runs a real server that holds the polls of the archive under the same names, and looks back as long as their values live.
func prometheus(t *testing.T) v1.API {
	t.Helper()
	server, tool, dir := program(t, "prometheus"), program(t, "promtool"), t.TempDir()
	byMetric := map[string]*bytes.Buffer{}
	for _, p := range stored.polls {
		for _, r := range p.Readings {
			name, _, unit := metrics.Gauge(r.Quantity)
			if byMetric[name] == nil {
				byMetric[name] = &bytes.Buffer{}
			}
			at := config.Places[r.Probe]
			fmt.Fprintf(byMetric[name], "%s{site=%q,nest=%q,role=%q,probe=%q} %v %d\n", name, config.Site, at.Nest, at.Role, r.Probe, r.Value/unit, r.Time.Unix())
		}
	}
	var text bytes.Buffer
	for _, name := range slices.Sorted(maps.Keys(byMetric)) {
		fmt.Fprintf(&text, "# TYPE %s gauge\n%s", name, byMetric[name])
	}
	text.WriteString("# EOF\n")
	file := filepath.Join(dir, "polls.txt")
	if err := os.WriteFile(file, text.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	data, rules := filepath.Join(dir, "data"), filepath.Join(dir, "none.yml")
	if err := os.WriteFile(rules, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command(tool, "tsdb", "create-blocks-from", "openmetrics", file, data).CombinedOutput(); err != nil {
		t.Fatalf("promtool: %v\n%s", err, out)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	var said bytes.Buffer
	run := exec.Command(server, "--config.file="+rules, "--storage.tsdb.path="+data, "--storage.tsdb.retention.time=100y",
		"--web.listen-address="+address, "--query.lookback-delta="+probes[0].StaleAfter.String())
	run.Stdout, run.Stderr = &said, &said
	if err := run.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = run.Process.Kill()
		_ = run.Wait()
		if t.Failed() {
			t.Logf("prometheus said:\n%s", &said)
		}
	})
	for end := time.Now().Add(time.Minute); ; time.Sleep(20 * time.Millisecond) { // bounds a server that hangs
		resp, err := http.Get("http://" + address + "/-/ready")
		if err == nil {
			resp.Body.Close()
			if resp.StatusCode == http.StatusOK {
				break
			}
		}
		if time.Now().After(end) {
			t.Fatalf("prometheus is not ready: %v", err)
		}
	}
	client, err := api.NewClient(api.Config{Address: "http://" + address})
	if err != nil {
		t.Fatal(err)
	}
	return v1.NewAPI(client)
}

// The source of every answer here is a real Prometheus with the same samples. Both are asked off the seconds of a poll: what lies at the very
// edge of a range belongs to it in releases before 3.0, and not since.
func TestAnswersAreThoseOfPrometheus(t *testing.T) {
	genuine := prometheus(t)
	const T, H = "nestmon_probe_temperature_celsius", "nestmon_probe_humidity_ratio"
	odd := 7 * time.Second
	day, hole, pause := begin.Add(50*time.Hour+odd), begin.Add(59*time.Hour+odd), begin.Add(63*time.Hour+odd)
	for _, row := range []struct {
		text string
		from time.Time
		span time.Duration
		step time.Duration
	}{
		{T + `{probe="a1-cluster"}`, day, 3 * time.Hour, time.Minute},
		{T + `{probe="a1-air"}`, hole, 3 * time.Hour, 11 * time.Second}, // 12 minutes without a value
		{H, pause, 3 * time.Hour, 11 * time.Second},                     // 45 minutes without a poll
		{`max by (nest) (` + T + `{probe!~"far|gone"})`, hole, 6 * time.Hour, time.Minute},
		{`avg_over_time(` + T + `{role=~"air|clu.*"}[5m])`, hole, 6 * time.Hour, 5 * time.Minute},
		{`avg_over_time(` + T + `{role="outside"}[3h])`, day, 12 * time.Hour, 30 * time.Minute},
		{`quantile_over_time(0.9, ` + T + `{nest="a1"}[1h])`, day, 12 * time.Hour, 30 * time.Minute},
		{`count_over_time(` + T + `{nest=~".+"}[10m])`, hole, 6 * time.Hour, 2 * time.Minute},
		{`deriv(` + T + `{nest="a1"}[15m]) * 3600`, day, 6 * time.Hour, 5 * time.Minute},
		{`max_over_time((` + T + `{role="air"} - ignoring (role, probe) ` + T + `{role="cluster"})[2h:5m])`, day, 6 * time.Hour, 10 * time.Minute},
		{T + `{nest="a1"} offset 30m - ` + T + `{nest="a1"}`, day, 6 * time.Hour, 5 * time.Minute},
		{`(` + T + `{nest="a1"} + 40) * 1.8 - 40`, day, 6 * time.Hour, 5 * time.Minute},
		{`topk(1, ` + T + `{nest!=""}) by (nest)`, day, 6 * time.Hour, 5 * time.Minute},
		{`timestamp(` + T + `{nest="b2"})`, hole, 2 * time.Hour, time.Minute},
		{`absent(` + T + `{probe="a1-air"})`, hole, 2 * time.Hour, time.Minute},
		{T + `{probe="a1-air"} @ end()`, day, time.Hour, 10 * time.Minute},
		{`nestmon_probe_carbon_dioxide_ratio * 1e6 > 1000`, day, 6 * time.Hour, 5 * time.Minute},
		{`label_replace(` + T + `{nest="a1"}, "box", "$1", "nest", "(.).*")`, day, time.Hour, 10 * time.Minute},
		{`rate(` + T + `)`, day, time.Hour, time.Minute}, // refused
		{`sum(` + T, day, time.Hour, time.Minute},
		{T + ` + on () ` + T, day, time.Hour, time.Minute},
		{T + `[5m]`, day, time.Hour, time.Minute},
		{T, day, 24 * time.Hour, time.Second}, // too many points
	} {
		span := v1.Range{Start: row.from, End: row.from.Add(row.span), Step: row.step}
		theirs, _, _, err := genuine.QueryRange(t.Context(), row.text, span)
		ours, _, _, errOfOurs := stored.client.QueryRange(t.Context(), row.text, span)
		if err != nil || errOfOurs != nil {
			var want, got *v1.Error
			if !errors.As(err, &want) || !errors.As(errOfOurs, &got) || want.Type != got.Type {
				t.Errorf("%s: %v, Prometheus %v", row.text, errOfOurs, err)
			}
			continue
		}
		if len(theirs.(model.Matrix)) == 0 {
			t.Errorf("%s has no answer there, and proves nothing", row.text)
		}
		if why := differs(ours.(model.Matrix), theirs.(model.Matrix)); why != "" {
			t.Errorf("%s: %s", row.text, why)
		}
	}
	t.Run("labels", func(t *testing.T) {
		for _, match := range []string{T, `{nest=~"a.|x"}`, `{role!="air",probe=~".+"}`, `{nest=""," probe!="gone"}`} {
			theirs, _, _, err := genuine.Series(t.Context(), []string{match}, begin, begin.Add(polled))
			ours, _, _, errOfOurs := stored.client.Series(t.Context(), []string{match}, begin, begin.Add(polled))
			text := func(all []model.LabelSet) string {
				var out []string
				for _, s := range all {
					out = append(out, s.String())
				}
				slices.Sort(out)
				return strings.Join(out, "\n")
			}
			if (err == nil) != (errOfOurs == nil) || text(theirs) != text(ours) {
				t.Errorf("%s: %s %v\nPrometheus: %s %v", match, text(ours), errOfOurs, text(theirs), err)
			}
		}
	})
}

// differs says where two answers do. Sums of many numbers may be added up in another order by another release.
func differs(ours, theirs model.Matrix) string {
	if len(ours) != len(theirs) {
		return fmt.Sprintf("%d series, Prometheus has %d", len(ours), len(theirs))
	}
	for i, s := range ours {
		w := theirs[i]
		if !s.Metric.Equal(w.Metric) || len(s.Values) != len(w.Values) {
			return fmt.Sprintf("%s with %d values, Prometheus %s with %d", s.Metric, len(s.Values), w.Metric, len(w.Values))
		}
		for k, v := range s.Values {
			if x := w.Values[k]; v.Timestamp != x.Timestamp || math.Abs(float64(v.Value-x.Value)) > 1e-9*max(1, math.Abs(float64(x.Value))) {
				return fmt.Sprintf("%s: %s, Prometheus %s", s.Metric, v, x)
			}
		}
	}
	return ""
}
