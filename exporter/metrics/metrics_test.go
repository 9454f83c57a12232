package metrics_test

import (
	"context"
	"flag"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"

	"nestmon/exporter"
	"nestmon/exporter/metrics"
	"nestmon/exporter/sinktest"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/litter"
	"nestmon/thresholds/nest"
)

var update = flag.Bool("update", false, "rewrite testdata from what is served")

var noon = time.Date(2026, 1, 17, 12, 0, 0, 0, time.UTC)

func newSink(t *testing.T, now time.Time) *metrics.Sink {
	t.Helper()
	s := metrics.New()
	s.Now = func() time.Time { return now }
	return s
}

// scrape returns what /metrics says.
func scrape(t *testing.T, s *metrics.Sink) string {
	t.Helper()
	rec := httptest.NewRecorder()
	s.Handler().ServeHTTP(rec, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	if rec.Code != http.StatusOK {
		t.Fatalf("scrape: %d %s", rec.Code, rec.Body)
	}
	return rec.Body.String()
}

func published(t *testing.T, state *exporter.State) string {
	t.Helper()
	s := newSink(t, state.Snapshot.Time)
	if err := s.Publish(t.Context(), state); err != nil {
		t.Fatal(err)
	}
	return scrape(t, s)
}

// rabbitry is an invented site with everything in it: n nests with a cluster and an air probe, all limits, a litter, and three
// alarms standing in each nest.
func rabbitry(n int) *exporter.State {
	limit := func(v float64) *float64 { return &v }
	s := &exporter.State{
		Started: noon.Add(-48 * time.Hour), Synced: true, Version: "1.2.3",
		Buses: []sensors.BusHealth{{Bus: "w1", Up: true, Took: 3 * time.Second}, {Bus: "i2c-1", Up: true, Hung: time.Minute, Restarts: 1}},
		Disk:  exporter.Disk{Bytes: 8e9, Free: 5e9, Archive: 12e6},
		Sinks: []exporter.SinkHealth{
			{Name: "mqtt", OK: true, Sent: 5760},
			{Name: "influx", Owes: true, Sent: 5000, Failed: 41, Pending: 960, OldestAt: noon.Add(-40 * time.Minute), Error: "connection refused"},
			{Name: "page", OK: true},
			{Name: "prometheus", OK: true, Sent: 5760},
			{Name: "phone", OK: true, Owes: true, Sent: 7, Failed: 1},
		},
		Probes: []sensors.Health{{Probe: "outside", Reads: 11520, LastGood: noon.Add(-2 * time.Second)}},
		Snapshot: thresholds.Snapshot{
			Time: noon, Season: brood.Winter,
			Outside: thresholds.Place{THI: -3.26, HasTHI: true, Values: []thresholds.Value{
				{Role: thresholds.Outside, Probe: "outside", Quantity: sensors.Temperature, Value: -7.31, Time: noon, Fresh: true},
				{Role: thresholds.Outside, Probe: "outside", Quantity: sensors.Humidity, Value: 81.3, Time: noon, Fresh: true},
			}},
		},
	}
	for i := range n {
		id := fmt.Sprintf("a%d", i+1)
		s.Probes = append(s.Probes,
			sensors.Health{Probe: id + "-cluster", Reads: 5760, LastGood: noon.Add(-3 * time.Second), Rejected: map[sensors.Fault]uint64{sensors.BadChecksum: 2}},
			sensors.Health{Probe: id + "-air", Reads: 11520, LastGood: noon.Add(-10 * time.Minute), Rejected: map[sensors.Fault]uint64{sensors.NoAnswer: 40, sensors.Settling: 1}},
		)
		s.Snapshot.Nests = append(s.Snapshot.Nests, thresholds.NestState{
			ID: id, Kind: brood.WoodenBox, Stage: thresholds.Nursing, AgeDays: 4, Core: 37.4, HasCore: true,
			Litter: &litter.Litter{Nest: id, Kindled: noon.Add(-100 * time.Hour), Born: 8},
			Values: []thresholds.Value{
				{Role: thresholds.Cluster, Probe: id + "-cluster", Quantity: sensors.Temperature, Value: 36.44, Time: noon, Fresh: true},
				{Role: thresholds.Air, Probe: id + "-air", Quantity: sensors.Temperature, Value: 21.07, Time: noon, Fresh: true},
				{Role: thresholds.Air, Probe: id + "-air", Quantity: sensors.Humidity, Value: 55.2, Time: noon, Fresh: true},
			},
			Limits: thresholds.LimitsInForce{ClusterCold: limit(33), ClusterHot: limit(40), AirCold: limit(10), AirHot: limit(32), AirHotUrgent: limit(35)},
			Judged: []thresholds.Judgement{{Danger: "heat", Judged: true}, {Danger: "chill"}, {Danger: "cold", Judged: true}, {Danger: "damp"}},
		})
		for j, name := range []alarm.Name{alarm.NestCold, alarm.ClusterChill, alarm.ProbeSilent, alarm.BoxDue} {
			a := alarm.Standing{Event: alarm.Event{Nest: id, Name: name, State: alarm.Raised, Severity: alarm.Severity(j%3 + 1), Time: noon.Add(-time.Duration(j+1) * time.Minute)}}
			if j == 0 {
				a.Status, a.Acknowledged = alarm.Acknowledged, noon
			}
			if name.Chore() {
				a.Severity = alarm.Notice // from warning up it would be a fourth alarm
			}
			s.Snapshot.Alarms = append(s.Snapshot.Alarms, a)
		}
	}
	return s
}

func TestGolden(t *testing.T) {
	s := rabbitry(1)
	s.Sinks[1].Misconfigured = true
	s.Sinks[4].Calls, s.Sinks[4].OK = true, false
	s.Snapshot.Quiet = []alarm.Standing{{Event: alarm.Event{Nest: "a1"}, Status: alarm.OutOfService}}
	s.Snapshot.Doubts = []thresholds.Doubt{{Probe: "a1-air", Why: nest.DoubtWet}}
	s.Buses[1].Traffic = &sensors.Traffic{Transactions: 4711, Busy: 3 * time.Second, Errors: map[string]uint64{"nack": 12}}
	s.Snapshot.Nests[0].Values = append(s.Snapshot.Nests[0].Values,
		thresholds.Value{Role: thresholds.CO2, Probe: "a1-air", Quantity: sensors.CO2, Value: 812, Time: noon, Fresh: true})
	s.Snapshot.Battery.Values = []thresholds.Value{
		{Role: thresholds.Battery, Probe: "bank", Quantity: sensors.Voltage, Value: 12.61, Time: noon, Fresh: true},
		{Role: thresholds.Battery, Probe: "bank", Quantity: sensors.Current, Value: -0.15, Time: noon, Fresh: true},
	}
	got := regexp.MustCompile(`goversion="[^"]*"`).ReplaceAllString(published(t, s), `goversion="go"`)
	got = regexp.MustCompile(`(?m)^((?:process|go)_\w+) .*`).ReplaceAllString(got, `$1 0`) // of this very run
	file := filepath.Join("testdata", "metrics.txt")
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("the exposition changed; read it, then run with -update. Got:\n%s", got)
	}
}

// sample is one line of an exposition.
var sample = regexp.MustCompile(`^([a-z0-9_]+)(\{.*\})? (\S+)( .*)?$`)

func samples(body string) (lines [][]string) {
	for line := range strings.Lines(body) {
		if line = strings.TrimSuffix(line, "\n"); !strings.HasPrefix(line, "#") {
			lines = append(lines, append(sample.FindStringSubmatch(line), line))
		}
	}
	return lines
}

func TestLint(t *testing.T) {
	state := rabbitry(2)
	state.Snapshot.Nests[0].Values = append(state.Snapshot.Nests[0].Values,
		thresholds.Value{Role: thresholds.CO2, Probe: "a1-air", Quantity: sensors.CO2, Value: 812, Time: noon, Fresh: true})
	body := published(t, state)
	problems, err := promlint.New(strings.NewReader(body)).Lint()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("promlint: %s: %s", p.Metric, p.Text)
	}
	if n := len(samples(body)); n < 100 {
		t.Fatalf("only %d samples", n)
	}
	for _, what := range ownLint(body) {
		t.Error(what)
	}
}

// ownLint finds what promlint lets pass.
func ownLint(body string) (found []string) {
	for _, m := range samples(body) {
		line := m[len(m)-1]
		if len(m) == 1 {
			found = append(found, "not a sample: "+line)
			continue
		}
		v, err := strconv.ParseFloat(m[3], 64)
		switch {
		case err != nil || v != v:
			found = append(found, "no number: "+line)
		case regexp.MustCompile(`percent|fahrenheit|_age(_|$)|_days|_hours|_due_|_left`).MatchString(m[1]):
			found = append(found, "unit in the name: "+line)
		case strings.HasSuffix(m[1], "_ratio") && (v < 0 || v > 1):
			found = append(found, "a ratio outside 0 to 1: "+line)
		case strings.Contains(m[1], "humidity") && !strings.HasSuffix(m[1], "_ratio"):
			found = append(found, "humidity that is no ratio: "+line)
		case strings.Contains(m[1], "timestamp") && !strings.HasSuffix(m[1], "_timestamp_seconds"):
			found = append(found, "a moment that is not in seconds: "+line)
		case m[4] != "":
			found = append(found, "a timestamp: "+line)
		case regexp.MustCompile(`[{,]type=`).MatchString(m[2]):
			found = append(found, "a label called type: "+line)
		}
	}
	return found
}

func TestOwnLintFinds(t *testing.T) {
	for line, want := range map[string]string{
		"nestmon_probe_humidity_ratio{nest=\"a1\"} 0.55": "",
		"nestmon_alarms_unacknowledged 1":                "",
		"nestmon_probe_humidity_ratio 55.2":              "a ratio",
		"nestmon_probe_humidity_percent 55.2":            "unit in the name",
		"nestmon_probe_humidity 0.55":                    "humidity that is no ratio",
		"nestmon_litter_age 4":                           "unit in the name",
		"nestmon_litter_days 4":                          "unit in the name",
		"nestmon_cluster_core_celsius NaN":               "no number",
		"nestmon_probe_up 1 1768651200000":               "a timestamp",
		"nestmon_probe_up{nest=\"a1\",type=\"air\"} 1":   "a label called type",
		"nestmon_start_timestamp 1":                      "a moment",
		"nestmon-probe_up 1":                             "not a sample",
	} {
		got := strings.Join(ownLint("# HELP x\n"+line+"\n"), "; ")
		if !strings.HasPrefix(got, want) || (want == "") != (got == "") {
			t.Errorf("%s: %q, want %q", line, got, want)
		}
	}
}

func TestSeriesBudget(t *testing.T) {
	for _, nests := range []int{0, 1, 4, 30} {
		if got, most := len(samples(published(t, rabbitry(nests)))), 60+40*nests; got > most {
			t.Errorf("%d nests: %d series, want at most %d", nests, got, most)
		} else {
			t.Logf("%d nests: %d series of %d", nests, got, most)
		}
	}
}

func TestWhatIsShown(t *testing.T) {
	const (
		airUp    = `nestmon_probe_up{nest="a1",probe="a1-air",role="air"}`
		airTemp  = `nestmon_probe_temperature_celsius{nest="a1",probe="a1-air",role="air"}`
		airGood  = `nestmon_probe_last_success_timestamp_seconds{nest="a1",probe="a1-air",role="air"}`
		chill    = `nestmon_alarm_severity{event="cluster-chill",nest="a1"}`
		judged   = `nestmon_danger_judged{danger="heat",nest="a1"}`
		noJudged = judged + " 0"
	)
	for _, row := range []struct {
		name       string
		change     func(s *exporter.State)
		later      time.Duration // when it is scraped
		with, lack []string
	}{
		{"fresh", func(*exporter.State) {}, 0, []string{airUp + " 1", airTemp + " 21.07", airGood, judged + " 1", chill + " 2"}, nil},
		{"a silent probe", func(s *exporter.State) {
			s.Snapshot.Nests[0].Values[1].Fresh, s.Snapshot.Nests[0].Values[2].Fresh = false, false
		}, 0, []string{airUp + " 0", airGood}, []string{airTemp, `humidity_ratio{nest="a1"`}},
		{"a probe in doubt", func(s *exporter.State) {
			s.Snapshot.Doubts = []thresholds.Doubt{{Probe: "a1-air", Why: nest.DoubtWet}, {Probe: "ghost", Why: nest.DoubtOdd}}
		}, 0, []string{`nestmon_probe_doubted{nest="a1",probe="a1-air",reason="wet",role="air"} 1`}, []string{"ghost"}},
		{"half a silent probe", func(s *exporter.State) { s.Snapshot.Nests[0].Values[2].Fresh = false }, 0, []string{airUp + " 0", airTemp}, []string{`humidity_ratio{nest="a1"`}},
		{"a daemon that stopped judging", func(*exporter.State) {}, 6 * time.Minute, []string{airUp + " 0", airGood, chill + " 2", noJudged}, []string{airTemp, "nestmon_cluster_core_celsius{"}},
		{"one that judges every ten minutes", func(s *exporter.State) { s.Every = 10 * time.Minute }, 12 * time.Minute, []string{airUp + " 1", airTemp, judged + " 1"}, nil},
		{"such a one that stopped", func(s *exporter.State) { s.Every = 10 * time.Minute }, 31 * time.Minute, []string{airUp + " 0", noJudged}, []string{airTemp}},
		{"a retired nest", func(s *exporter.State) { s.Snapshot.Nests, s.Snapshot.Alarms, s.Probes = nil, nil, nil }, 0, []string{`nestmon_probe_up{nest="",probe="outside"`}, []string{`"a1"`, "a1-air"}},
		{"a probe without a place", func(s *exporter.State) { s.Probes = append(s.Probes, sensors.Health{Probe: "spare", Reads: 1}) }, 0, []string{`nestmon_probe_up{nest="",probe="spare",role=""} 0`}, nil},
		{"two probes of a nest silent", func(s *exporter.State) {
			s.Snapshot.Alarms = append(s.Snapshot.Alarms, alarm.Standing{Event: alarm.Event{Nest: "a1", Name: alarm.ProbeSilent, Severity: alarm.Urgent, Time: noon}})
		}, 0, []string{`nestmon_alarm_severity{event="probe-silent",nest="a1"} 3`, `nestmon_alarms_unacknowledged{nest="a1"} 3`}, nil},
		{"a chore that is a warning is an alarm, a notice is none", func(s *exporter.State) {
			s.Snapshot.Alarms = append(s.Snapshot.Alarms,
				alarm.Standing{Event: alarm.Event{Nest: "a1", Name: alarm.VentilationDue, Severity: alarm.Warning, Time: noon}},
				alarm.Standing{Event: alarm.Event{Nest: "a1", Name: alarm.CollectDue, Severity: alarm.Notice, Time: noon}})
		}, 0, []string{`nestmon_alarm_severity{event="ventilation-due",nest="a1"} 2`}, []string{`event="collect-due"`}},
		{"of two alarms that share their name the more severe counts", func(s *exporter.State) {
			s.Snapshot.Alarms = append(s.Snapshot.Alarms, alarm.Standing{Event: alarm.Event{Nest: "a1", Name: alarm.ClusterChill, Severity: alarm.Notice, Time: noon}})
		}, 0, []string{chill + " 2", `nestmon_alarm_raised_timestamp_seconds{event="cluster-chill",nest="a1"} 1.76865108e+09`}, nil},
		{"an alarm for a nest that is not there", func(s *exporter.State) {
			s.Snapshot.Alarms = append(s.Snapshot.Alarms, alarm.Standing{Event: alarm.Event{Nest: "gone", Name: alarm.NestHeat, Severity: alarm.Urgent, Time: noon}})
		}, 0, []string{`nestmon_alarm_severity{event="nest-heat",nest="gone"} 3`}, nil},
		{"alarms that call nobody", func(s *exporter.State) {
			heat := alarm.Event{Nest: "a1", Name: alarm.NestHeat, Severity: alarm.Urgent, Time: noon}
			expected := alarm.Event{Nest: "a1", Name: alarm.HeatExpected, Severity: alarm.Warning, Time: noon}
			s.Snapshot.Alarms = []alarm.Standing{{Event: heat, Status: alarm.Shelved}, {Event: expected, Status: alarm.Suppressed}, {Event: heat, Status: alarm.Unacknowledged}}
			s.Snapshot.Quiet = []alarm.Standing{
				{Event: alarm.Event{Nest: "a1"}, Status: alarm.Shelved},
				{Event: alarm.Event{Nest: "a1", Name: alarm.ProbeSilent}, Status: alarm.Suppressed}, // and was never on
				{Event: alarm.Event{Name: alarm.BusFault, Severity: alarm.Warning}, Over: noon, Status: alarm.Returned},
			}
		}, 0, []string{
			`nestmon_alarms_quieted{nest="a1",status="shelved"} 2`, `nestmon_alarms_quieted{nest="a1",status="suppressed-by-design"} 1`,
			`nestmon_alarms_quieted{nest="",status="returned-unacknowledged"} 1`, `nestmon_alarms_unacknowledged{nest="a1"} 1`, `nestmon_alarm_severity{event="nest-heat",nest="a1"} 3`,
		}, []string{`status="out-of-service"`}},
		{"one way to a phone works", func(s *exporter.State) {
			s.Sinks = []exporter.SinkHealth{{Name: "mobile", Calls: true}, {Name: "board", Calls: true, OK: true}, {Name: "mqtt"}}
		}, 0, []string{`nestmon_sink_up{sink="mobile"} 0`}, []string{"nestmon_phone_unreachable"}},
		{"no way to a phone", func(s *exporter.State) {
			s.Sinks = []exporter.SinkHealth{{Name: "mobile", Calls: true}, {Name: "board", Calls: true}, {Name: "mqtt", OK: true}}
		}, 0, []string{"nestmon_phone_unreachable 1"}, nil},
		{"nobody wants calls", func(s *exporter.State) { s.Sinks = []exporter.SinkHealth{{Name: "mqtt"}} }, 0, nil, []string{"nestmon_phone_unreachable"}},
		{"a bus that counts", func(s *exporter.State) {
			s.Buses[1].Traffic = &sensors.Traffic{Transactions: 4711, Busy: 3 * time.Second, Errors: map[string]uint64{"nack": 12, "timeout": 0}}
		}, 0, []string{
			`nestmon_bus_transactions_total{bus="i2c-1"} 4711`, `nestmon_bus_busy_seconds_total{bus="i2c-1"} 3`,
			`nestmon_bus_errors_total{bus="i2c-1",kind="nack"} 12`, `nestmon_bus_errors_total{bus="i2c-1",kind="timeout"} 0`,
		}, []string{`nestmon_bus_transactions_total{bus="w1"}`}},
		{"no number is no series", func(s *exporter.State) { s.Snapshot.Nests[0].Core = nan() }, 0, nil, []string{"nestmon_cluster_core_celsius{", "NaN"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			state := rabbitry(1)
			row.change(state)
			s := newSink(t, noon.Add(row.later))
			if err := s.Publish(t.Context(), state); err != nil {
				t.Fatal(err)
			}
			body := scrape(t, s)
			for _, want := range row.with {
				if !strings.Contains(body, want) {
					t.Errorf("lacks %s", want)
				}
			}
			for _, bad := range row.lack {
				if strings.Contains(body, bad) {
					t.Errorf("has %s", bad)
				}
			}
		})
	}
}

func nan() float64 { zero := 0.0; return zero / zero }

func TestEveryReasonAndEventExistsFromTheStart(t *testing.T) {
	state := rabbitry(1)
	state.Probes, state.Snapshot.Alarms = nil, nil
	body := published(t, state)
	for _, f := range sensors.Faults {
		if want := fmt.Sprintf("nestmon_probe_read_errors_total{reason=%q} 0", f); !strings.Contains(body, want) {
			t.Errorf("lacks %s", want)
		}
	}
	for _, name := range alarm.Names {
		shown := strings.Contains(body, fmt.Sprintf("event=%q", name))
		noted := name == alarm.Kindled || name == alarm.Visit || name == alarm.Inspection
		if want := !name.Chore() && !noted; shown != want {
			t.Errorf("event %s shown: %v, want %v", name, shown, want)
		}
	}
}

func TestScrapesSeeOneState(t *testing.T) {
	s := newSink(t, noon)
	one, two := rabbitry(3), rabbitry(3)
	two.Version = "2.0.0"
	for i := range two.Snapshot.Nests {
		two.Snapshot.Nests[i].Core = 30
	}
	if err := s.Publish(t.Context(), one); err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for range 20 {
				body := scrape(t, s)
				if a, b := strings.Contains(body, `version="2.0.0"`), strings.Count(body, "core_celsius{nest=\"a1\"} 30\n")+strings.Count(body, "core_celsius{nest=\"a3\"} 30\n"); a != (b == 2) || b == 1 {
					t.Errorf("a scrape shows a mixture: version 2: %v, cores of it: %d", a, b)
				}
			}
		})
	}
	for i := range 50 {
		_ = s.Publish(t.Context(), []*exporter.State{one, two}[i%2])
	}
	wg.Wait()
}

func TestConformance(t *testing.T) {
	sinktest.Publisher(t, func(t *testing.T) sinktest.PublisherRig {
		s := metrics.New()
		return sinktest.PublisherRig{Sink: s, Shown: func() (float64, bool) {
			for _, m := range samples(scrape(t, s)) {
				if m[1] == "nestmon_probe_temperature_celsius" && strings.Contains(m[2], `nest="a1"`) {
					v, err := strconv.ParseFloat(m[3], 64)
					return v, err == nil
				}
			}
			return 0, false
		}}
	})
}

func TestServe(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := taken.Addr().String()
	s := newSink(t, noon)
	err = s.Serve(metrics.Config{Listen: address}, slog.New(slog.DiscardHandler))
	if err == nil || !strings.Contains(err.Error(), strconv.Quote(address)+" is in use") || !strings.Contains(err.Error(), "write another port") {
		t.Errorf("address in use: %v, want it named and the remedy", err)
	}
	_ = taken.Close()
	if err := s.Serve(metrics.Config{Listen: address}, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		path, with string
		code       int
	}{{"/", `href="/metrics"`, 200}, {"/metrics", "", 200}, {"/other", "", 404}} {
		resp, err := http.Get("http://" + address + row.path)
		if err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		_ = resp.Write(&b)
		_ = resp.Body.Close()
		if resp.StatusCode != row.code || !strings.Contains(b.String(), row.with) {
			t.Errorf("%s: %d, want %d and %q in\n%s", row.path, resp.StatusCode, row.code, row.with, b.String())
		}
	}
	req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "http://"+address+"/", http.NoBody)
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("X-Much", strings.Repeat("a", 64<<10))
	if resp, err := http.DefaultClient.Do(req); err == nil {
		_ = resp.Body.Close()
		if resp.StatusCode != http.StatusRequestHeaderFieldsTooLarge {
			t.Errorf("a header of 64 kB: %d", resp.StatusCode)
		}
	} // or cut off while it was still being sent
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	if err := s.Close(ctx); err != nil {
		t.Error(err)
	}
}

func TestValidate(t *testing.T) {
	for _, row := range []struct {
		listen string
		want   string
	}{
		{metrics.DefaultConfig().Listen, ""},
		{":19555", ""},
		{"[::1]:19555", ""},
		{"19555", "is not an address"},
		{"127.0.0.1", "is not an address"},
		{"127.0.0.1:http", "has no port"},
		{"127.0.0.1:0", "has no port"},
		{"127.0.0.1:70000", "has no port"},
		{"", "is not an address"},
	} {
		var got string
		metrics.Config{Listen: row.listen}.Validate(func(path, problem string) { got += path + ": " + problem })
		if (row.want == "") != (got == "") || !strings.Contains(got, row.want) {
			t.Errorf("%q: %q, want %q", row.listen, got, row.want)
		}
	}
}
