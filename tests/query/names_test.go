package query_test

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"nestmon/exporter"
	"nestmon/exporter/metrics"
	"nestmon/sensors"
	"nestmon/thresholds"
)

// The names and labels are those of a scrape: what package metrics writes of the same values, read by Prometheus's own parser of it, beside
// what the client library finds here.
func TestNamesAreThoseOfAScrape(t *testing.T) {
	sink := metrics.New()
	state := &exporter.State{Snapshot: thresholds.Snapshot{Time: begin}}
	nests := map[string]int{}
	for i, p := range config.Probes {
		at := config.Places[p.ID]
		var values []thresholds.Value
		for _, q := range p.Quantities {
			values = append(values, thresholds.Value{Role: at.Role, Probe: p.ID, Quantity: q, Value: value(i, q, begin), Time: begin, Fresh: true})
		}
		if at.Nest == "" {
			state.Snapshot.Outside.Values = values
			continue
		}
		if _, known := nests[at.Nest]; !known {
			nests[at.Nest] = len(state.Snapshot.Nests)
			state.Snapshot.Nests = append(state.Snapshot.Nests, thresholds.NestState{ID: at.Nest})
		}
		n := &state.Snapshot.Nests[nests[at.Nest]]
		n.Values = append(n.Values, values...)
	}
	if err := sink.Publish(t.Context(), state); err != nil {
		t.Fatal(err)
	}
	w := httptest.NewRecorder()
	sink.Handler().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	parser := expfmt.NewTextParser(model.LegacyValidation)
	families, err := parser.TextToMetricFamilies(w.Body)
	if err != nil {
		t.Fatal(err)
	}
	scraped := map[string]bool{}
	for _, q := range sensors.Quantities {
		name, _, _ := metrics.Gauge(q)
		for _, m := range families[name].GetMetric() {
			set := model.LabelSet{"__name__": model.LabelValue(name), "site": "willow-bend"}
			for _, l := range m.GetLabel() {
				if l.GetValue() != "" { // an empty label is none
					set[model.LabelName(l.GetName())] = model.LabelValue(l.GetValue())
				}
			}
			scraped[set.String()] = true
		}
	}
	if len(scraped) != 6 {
		t.Fatalf("scraped: %v", scraped)
	}
	found, _, _, err := stored.client.Series(t.Context(), []string{`{probe!="gone",probe!=""}`}, begin, begin.Add(polled))
	if err != nil {
		t.Fatal(err)
	}
	for _, set := range found {
		if !scraped[set.String()] {
			t.Errorf("%s is in no scrape", set)
		}
	}
	if len(found) != len(scraped) {
		t.Errorf("%d series, want %d", len(found), len(scraped))
	}
}

func TestWhatThereIs(t *testing.T) {
	ctx, c := t.Context(), stored.client
	end := begin.Add(polled)
	var none time.Time
	list := func(all any, err error) string {
		if err != nil {
			return err.Error()
		}
		return fmt.Sprint(all)
	}
	values := func(label string, from, to time.Time, matches ...string) string {
		all, _, _, err := c.LabelValues(ctx, label, matches, from, to)
		return list(all, err)
	}
	names := func(matches ...string) string {
		all, _, _, err := c.LabelNames(ctx, matches, begin, end)
		return list(all, err)
	}
	meta := func(metric, limit string) string {
		all, err := c.Metadata(ctx, metric, limit)
		return list(all, err)
	}
	// The answers are worked out by hand from what setUp stores.
	for _, row := range []struct{ name, got, want string }{
		{"nests", values("nest", begin, end), "[a1 b2]"},
		{"as a dashboard asks for them", values("nest", none, none, `nestmon_probe_temperature_celsius{site=~".*"}`), "[a1 b2]"},
		{"of one metric", values("nest", begin, end, "nestmon_probe_carbon_dioxide_ratio"), "[b2]"},
		{"of either", values("probe", begin, end, `{role="outside"}`, `{role="cluster"}`), "[a1-cluster far]"},
		{"by a whole match", values("probe", begin, end, `{probe=~"a1"}`), "[]"},
		{"by a part that may be anything", values("probe", begin, end, `{probe=~"a1.*",role!="air"}`), "[a1-cluster]"},
		{"a label that is missing is empty", values("probe", begin, end, `{nest="",probe!=""}`), "[far gone]"},
		{"before the archive", values("probe", begin.Add(-time.Hour), begin.Add(-time.Minute)), "[]"},
		{"a label nobody has", values("stage", begin, end), "[]"},
		{"names of labels", names(), "__name__, nest, probe, role, site"},
		{"of what has no nest", names(`{probe="far"}`), "__name__, probe, role, site"},
		{"names of metrics", values("__name__", begin, end), "[nestmon_probe_carbon_dioxide_ratio nestmon_probe_humidity_ratio nestmon_probe_temperature_celsius]"},
		{"metadata", meta("nestmon_probe_temperature_celsius", ""), "map[nestmon_probe_temperature_celsius:[{gauge Temperature, while fresh. }]]"},
		{"metadata of what is not archived", meta("nestmon_alarm_severity", ""), "map[]"},
	} {
		if row.got != row.want {
			t.Errorf("%s: %s, want %s", row.name, row.got, row.want)
		}
	}
	if info, err := c.Buildinfo(ctx); err != nil || info.Version != "2.24.0" || info.GoVersion == "" {
		t.Errorf("buildinfo: %+v, %v", info, err)
	}
	if text := meta("", "1"); strings.Count(text, "gauge") != 1 {
		t.Errorf("one metric of all: %s", text)
	}
}

// ask sends one request to the server and returns its code and its envelope.
func ask(t testing.TB, method, target, body string, header ...string) (int, envelope) {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, stored.url+target, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, opened(t, resp.StatusCode, text)
}

type envelope struct {
	Status, ErrorType, Error string
	Data                     json.RawMessage
	Warnings, Infos          []string
}

// opened reads an answer, which must be an envelope that fits its code.
func opened(t testing.TB, code int, text []byte) (e envelope) {
	t.Helper()
	if err := json.Unmarshal(text, &e); err != nil {
		t.Fatalf("%d is no envelope: %v: %.200s", code, err, text)
	}
	if success := code == http.StatusOK; success != (e.Status == "success") || success != (e.Error == "") || success != (e.ErrorType == "") || success != (len(e.Data) > 0) {
		t.Fatalf("%d with %.300s", code, text)
	}
	return e
}

func TestRequestsThatAreWrong(t *testing.T) {
	long := strings.Repeat("x", 9<<10)
	values := "/api/v1/label/nest/values"
	for _, row := range []struct {
		name, method, target, body string
		header                     []string
		code                       int
		kind                       string
	}{
		{"an address nobody has", "GET", "/api/v1/rules", "", nil, 404, "not_found"},
		{"a change", "DELETE", "/api/v1/series", "", nil, 405, "bad_data"},
		{"no selector", "GET", "/api/v1/series", "", nil, 400, "bad_data"},
		{"one that matches everything", "GET", "/api/v1/series?match[]=" + url.QueryEscape(`{nest=~".*"}`), "", nil, 400, "bad_data"},
		{"one of two that is none", "GET", values + "?match[]=a&match[]=" + url.QueryEscape("{"), "", nil, 400, "bad_data"},
		{"not a regular expression", "GET", values + "?match[]=" + url.QueryEscape(`{a=~"("}`), "", nil, 400, "bad_data"},
		{"one that would be huge", "GET", values + "?match[]=" + url.QueryEscape(`{a=~"(x{1000}){1000}"}`), "", nil, 400, "bad_data"},
		{"not a label", "GET", "/api/v1/label/a-b/values", "", nil, 400, "bad_data"},
		{"not a time", "GET", values + "?start=yesterday", "", nil, 400, "bad_data"},
		{"not a number", "GET", values + "?start=NaN", "", nil, 400, "bad_data"},
		{"an end before the start", "GET", values + "?start=20&end=10", "", nil, 400, "bad_data"},
		{"all times there are", "GET", values + "?start=-1e300&end=1e300", "", nil, 200, ""},
		{"less than nothing", "GET", values + "?limit=-1", "", nil, 400, "bad_data"},
		{"a limit", "GET", values + "?limit=1", "", nil, 200, ""},
		{"a broken escape", "GET", values + "?start=%zz", "", nil, 400, "bad_data"},
		{"a long address", "GET", values + "?x=" + long[:7<<10], "", nil, 200, ""},
		{"one that is too long", "GET", values + "?x=" + long, "", nil, 400, "bad_data"},
		{"a longer form", "POST", values, "x=" + long, nil, 200, ""},
		{"one that is too long", "POST", values, "x=" + long + long, nil, 400, "bad_data"},
		{"a form that is none", "POST", values, "x=%zz", nil, 400, "bad_data"},
		{"JSON", "POST", values, "{}", []string{"Content-Type", "application/json"}, 415, "bad_data"},
		{"an empty form", "POST", values, "", []string{"Content-Type", ""}, 200, ""},
		{"a body where there is none", "GET", values, "x=1", nil, 400, "bad_data"},
		{"a form of another site", "POST", values, "x=1", []string{"Sec-Fetch-Site", "cross-site"}, 403, "bad_data"},
		{"an image of another site", "GET", values, "", []string{"Sec-Fetch-Site", "cross-site"}, 403, "bad_data"},
		{"a form of an old browser on another site", "POST", values, "x=1", []string{"Origin", "https://elsewhere.example"}, 403, "bad_data"},
		{"a person who types the address", "GET", values, "", []string{"Sec-Fetch-Site", "none"}, 200, ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			code, e := ask(t, row.method, row.target, row.body, row.header...)
			if code != row.code || e.ErrorType != row.kind {
				t.Errorf("%d %s %s, want %d %s", code, e.ErrorType, e.Error, row.code, row.kind)
			}
		})
	}
}

// What is posted says the same as what stands in the address.
func TestAFormIsAQuery(t *testing.T) {
	target := "/api/v1/series"
	form := url.Values{"match[]": {`nestmon_probe_temperature_celsius{nest="a1"}`}}.Encode()
	_, got := ask(t, "POST", target, form)
	_, want := ask(t, "GET", target+"?"+form, "")
	if string(got.Data) != string(want.Data) || !strings.Contains(string(got.Data), "a1-cluster") {
		t.Errorf("posted: %s\nasked: %s", got.Data, want.Data)
	}
}

// FuzzRequests sends what nobody would. Whatever comes, the answer is an envelope, and never that of a fault in here.
func FuzzRequests(f *testing.F) {
	for _, path := range []string{"query", "query_range", "series", "labels", "label/nest/values", "label/é/values", "metadata", "status/buildinfo", "x", ""} {
		for _, q := range []url.Values{
			{"query": {"nestmon_probe_temperature_celsius"}, "time": {"1925600000"}, "match[]": {"nestmon_probe_temperature_celsius"}},
			{"query": {"rate(nestmon_probe_temperature_celsius[5m])"}, "start": {"1925600000"}, "end": {"1925610000.5"}, "step": {"15s"}},
			{"query": {`max by(nest)({__name__=~".+",role!~"a|b"} offset -1w @ end())[1d:1h]`}, "time": {"2031-01-09T00:00:00Z"}},
			{"query": {"1"}, "start": {"-Inf"}, "end": {"+Inf"}, "step": {"1e-320"}, "timeout": {"-1"}, "limit": {"99999999999999999999"}},
			{"query": {"vector(1)[292y:1ms]"}, "start": {"0"}, "end": {"9223372036854775807"}, "step": {"292y"}, "timeout": {"10ms"}},
			{"query": {"\x00{}\xff"}, "match[]": {"{a=\"\\x\"}", "{a='\\''}", "`"}, "start": {"0x1p9"}},
		} {
			f.Add(path, q.Encode())
		}
	}
	h := handler(stored.archive)
	f.Fuzz(func(t *testing.T, path, q string) {
		address := &url.URL{Path: "/api/v1/" + path, RawQuery: q + "&timeout=1s"}
		r := httptest.NewRequest("GET", "/", nil).WithContext(t.Context())
		r.URL = address
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code/100 == 3 { // a path that is not clean
			return
		}
		opened(t, w.Code, w.Body.Bytes())
		if !slices.Contains([]int{200, 400, 404, 422, 501, 503}, w.Code) {
			t.Errorf("%d: %s", w.Code, w.Body)
		}
	})
}

// A quantity that is added must get a name here too.
func TestEveryQuantityHasAName(t *testing.T) {
	seen := map[string]bool{}
	for _, q := range sensors.Quantities {
		name, help, unit := metrics.Gauge(q)
		if seen[name] || help == "" || unit <= 0 || !strings.HasPrefix(name, "nestmon_probe_") {
			t.Errorf("%s: %q %q %g", q, name, help, unit)
		}
		seen[name] = true
	}
}
