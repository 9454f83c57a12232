//go:build promql

package query_test

import (
	"fmt"
	"math"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	v1 "github.com/prometheus/client_golang/api/prometheus/v1"
	"github.com/prometheus/common/model"

	"nestmon/exporter"
	"nestmon/exporter/archive"
	"nestmon/sensors"
)

// ranged asks for one series over a span of hours from the beginning, and returns its values by time in seconds from there.
func ranged(t *testing.T, text string, from, to float64, step time.Duration) map[int]float64 {
	t.Helper()
	at := func(h float64) time.Time { return begin.Add(time.Duration(h * float64(time.Hour))) }
	v, _, _, err := stored.client.QueryRange(t.Context(), text, v1.Range{Start: at(from), End: at(to), Step: step})
	if err != nil {
		t.Fatalf("%s: %v", text, err)
	}
	m, ok := v.(model.Matrix)
	if !ok || len(m) > 1 {
		t.Fatalf("%s: %d series of %T", text, len(m), v)
	}
	out := map[int]float64{}
	for _, s := range m {
		for _, p := range s.Values {
			out[int(p.Timestamp.Time().Sub(begin).Seconds())] = float64(p.Value)
		}
	}
	return out
}

// hour is what the values of a probe in the hour before come to. It reads what was put in, not the archive.
func hour(i int, q sensors.Quantity, end int, of func([]float64) float64) float64 {
	var all []float64
	for at := begin.Add(time.Duration(end-3600) * time.Second); at.Before(begin.Add(time.Duration(end) * time.Second)); at = at.Add(pollEvery) {
		if missing := in(off, at) || in(early, at) || i == 0 && in(blind, at); !missing {
			all = append(all, value(i, q, at))
		}
	}
	return of(all)
}

func mean(all []float64) float64 {
	sum := 0.0
	for _, v := range all {
		sum += v
	}
	return sum / float64(len(all))
}

// A value lives as long as the daemon calls it fresh (thresholds/nest, Channel.Fresh), and then it is gone: at every step, and by the minute too.
func TestAGapStaysAGap(t *testing.T) {
	const cluster, air, far = `nestmon_probe_temperature_celsius{probe="a1-cluster"}`, `nestmon_probe_temperature_celsius{probe="a1-air"}`, `nestmon_probe_temperature_celsius{probe="far"}`
	second := func(h float64) int { return int(math.Round(h * 3600)) }
	for _, row := range []struct {
		name, text string
		hole       [2]float64
		lives      int // seconds after its last value
		last       int // that one
	}{
		{"a probe that gives nothing", air, blind, 90, second(blind[0]) - 30},
		{"nothing is polled", cluster, off, 90, second(off[0]) - 30},
		{"of a probe that is read every ten minutes", far, off, 1800, second(off[0]) - 600},
	} {
		t.Run(row.name, func(t *testing.T) {
			got := ranged(t, row.text, row.hole[0]-1, row.hole[1]+1, 10*time.Second)
			back := second(row.hole[1])
			if row.text == far {
				back = (back + 599) / 600 * 600
			}
			for s := second(row.hole[0] - 1); s <= second(row.hole[1]+1); s += 10 {
				_, there := got[s]
				if want := s <= row.last+row.lives || s >= back; there != want {
					t.Fatalf("%d s after the last value: %v, want %v", s-row.last, there, want)
				}
			}
		})
	}
	t.Run("by the hour", func(t *testing.T) { // hours with polls end at 20:00 and at 24:00
		got := ranged(t, cluster, 18, 26, time.Minute)
		for s := 18 * 3600; s <= 26*3600; s += 60 {
			_, there := got[s]
			if want := s < 21*3600 || s >= 24*3600; there != want {
				t.Fatalf("%d min of the day: %v, want %v", s/60, there, want)
			}
		}
	})
	t.Run("what is configured no more", func(t *testing.T) { // five minutes, Prometheus's --query.lookback-delta
		got := ranged(t, `nestmon_probe_temperature_celsius{probe="gone"}`, off[0], off[0]+0.5, 10*time.Second)
		if last := second(off[0]) - 30 + 300; len(got) != 28 || got[last] == 0 {
			t.Errorf("%d values, %v at its end", len(got), got[last])
		}
	})
}

// Of an hour there is its mean at its end, its highest and its lowest where they are asked for: worked out from what was put in.
func TestHours(t *testing.T) {
	half := 0.0051 // hourly means are kept in steps of 0.01
	least, most := func(all []float64) float64 { return slices.Min(all) }, func(all []float64) float64 { return slices.Max(all) }
	for _, row := range []struct {
		name, text string
		from, to   float64
		step       time.Duration
		probe      int
		of         func([]float64) float64
		off        float64
	}{
		{"mean", `nestmon_probe_temperature_celsius{probe="a1-cluster"}`, 1, 60, time.Hour, 1, mean, half},
		{"mean, finer where polls are no longer kept", `nestmon_probe_temperature_celsius{probe="a1-cluster"}`, 1, 19, 20 * time.Minute, 1, mean, half},
		{"mean of what is", `avg_over_time(nestmon_probe_temperature_celsius{probe="a1-cluster"}[1h])`, 1, 60, time.Hour, 1, mean, half},
		{"highest", `max_over_time(nestmon_probe_temperature_celsius{probe="a1-cluster"}[1h])`, 1, 60, time.Hour, 1, most, 0},
		{"lowest", `min_over_time(nestmon_probe_temperature_celsius{probe="a1-cluster"}[1h])`, 1, 60, time.Hour, 1, least, 0},
		{"highest, at a step of a quarter", `max_over_time(nestmon_probe_temperature_celsius{probe="a1-cluster"}[1h])`, 1, 19, 15 * time.Minute, 1, most, 0},
	} {
		t.Run(row.name, func(t *testing.T) {
			got, n := ranged(t, row.text, row.from, row.to, row.step), 0
			for s, v := range got {
				n++
				if want := hour(row.probe, sensors.Temperature, s/3600*3600, row.of); math.Abs(v-want) > row.off+1e-9 {
					t.Errorf("%d s: %g, want %g", s, v, want)
				}
			}
			if n < 18 {
				t.Errorf("%d values", n)
			}
		})
	}
	t.Run("polls while they are kept", func(t *testing.T) {
		got := ranged(t, `nestmon_probe_humidity_ratio{probe="a1-air"}`, 50, 51, pollEvery)
		for s, v := range got {
			if want := value(0, sensors.Humidity, begin.Add(time.Duration(s)*time.Second)) / 100; v != want {
				t.Errorf("%d s: %g, want %g", s, v, want)
			}
		}
		if len(got) != 121 {
			t.Errorf("%d values, want 121", len(got))
		}
	})
	t.Run("the newest, which are in no hour yet", func(t *testing.T) {
		got := ranged(t, `nestmon_probe_temperature_celsius{probe="a1-cluster"}`, 0.5, 71.5, time.Hour)
		if s := 71*3600 + 1800; math.Abs(got[s]-hour(1, sensors.Temperature, 71*3600, mean)) > half {
			t.Errorf("half an hour after the last whole hour: %g", got[s])
		}
	})
}

// endless takes longer than anybody has patience, and no memory.
var endless = "vector(1)" + strings.Repeat(" or max_over_time(absent_here[1000d:15m])", 60)

// What cannot be worked out is said in the envelope. Codes are those of Prometheus's documentation of its API; 422 for a function that does not exist is ours.
func TestExpressionsThatAreWrong(t *testing.T) {
	const temperature = "nestmon_probe_temperature_celsius"
	joined := `label_join(` + temperature + `,"probe","","probe","probe","probe","probe","probe","probe","probe","probe")`
	for range 3 {
		joined = strings.Replace(joined, temperature, joined, 1)
	}
	replaced := temperature
	for range 20 {
		replaced = `label_replace(` + replaced + `,"probe","$1$1","probe","(.*)")`
	}
	many := ""
	for i := range 25 {
		many += fmt.Sprintf(` or label_replace(vector(1),"n","%d","","")`, i)
	}
	span := url.Values{"start": {"1925600000"}, "end": {"1925686400"}, "step": {"60"}}
	with := func(name, value string) url.Values {
		v := url.Values{"query": {temperature}}
		for n, all := range span {
			v[n] = all
		}
		v.Set(name, value)
		return v
	}
	query := func(text string) url.Values { return url.Values{"query": {text}} }
	for _, row := range []struct {
		name, path string
		form       url.Values
		code       int
		kind, says string
	}{
		{"none", "query", url.Values{}, 400, "bad_data", "missing"},
		{"a function that does not exist", "query", query("mean_over_time(x[1h])"), 422, "execution", "unknown function"},
		{"over a span", "query_range", with("query", "mean_over_time(x[1h])"), 422, "execution", "unknown function"},
		{"a rate of an instant", "query", query("rate(" + temperature + ")"), 400, "bad_data", "expected type range vector"},
		{"a span of spans", "query_range", with("query", temperature+"[1h]"), 400, "bad_data", "must be Scalar or instant Vector"},
		{"an end that is missing", "query", query("sum(" + temperature), 400, "bad_data", "unclosed"},
		{"many to many", "query", query(temperature + " + on () " + temperature), 422, "execution", "many-to-many"},
		{"too long", "query", query(strings.Repeat("1+", 3000) + "1"), 400, "bad_data", "longer than"},
		{"too many points", "query_range", with("step", "7"), 400, "bad_data", "11000 points"},
		{"no step", "query_range", with("step", "0"), 400, "bad_data", "step"},
		{"a step that is no number", "query_range", with("step", "NaN"), 400, "bad_data", "step"},
		{"no start", "query_range", with("start", ""), 400, "bad_data", "start"},
		{"an end before the start", "query_range", with("end", "5"), 400, "bad_data", "before start"},
		{"a hundred years", "query_range", with("start", "0"), 400, "bad_data", "days"},
		{"no time at all", "query", url.Values{"query": {endless}, "timeout": {"1ms"}}, 503, "timeout", "ask for less"},
		{"too many samples", "query", query("(vector(1)" + many + ")[69d:1m]"), 422, "execution", "too many samples"},
		{"too many steps", "query", query("vector(1)[292y:1ms]"), 422, "execution", "100000 steps"},
		{"within each other", "query", query("max_over_time(max_over_time(vector(1)[200y:5y])[200y:4h])"), 422, "execution", "100000 steps"},
		{"labels that double", "query", query(replaced), 422, "execution", "labels"},
		{"labels that are joined", "query", query(joined), 422, "execution", "labels"},
		{"a series of each value", "query_range", with("query", `count_values("v", `+temperature+`)`), 422, "execution", "count_values"},
		{"within a subquery", "query", query(`count_over_time(count_values("v", ` + temperature + `)[1d:1m])`), 422, "execution", "count_values"},
		{"the same at an instant", "query", query(`count_values("v", ` + temperature + `)`), 200, "", ""},
		{"one label joined", "query", query(`label_join(` + temperature + `,"where"," ","nest","role")`), 200, "", ""},
		{"deep", "query", query(strings.Repeat("(", 2000) + "1" + strings.Repeat(")", 2000)), 200, "", ""},
		{"deep and negative", "query", query(strings.Repeat("-", 4000) + "1"), 200, "", ""},
		{"a word", "query", query(`"word"`), 200, "", ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			code, e := ask(t, "POST", "/api/v1/"+row.path, row.form.Encode())
			if code != row.code || e.ErrorType != row.kind || !strings.Contains(e.Error, row.says) {
				t.Errorf("%d %s %s, want %d %s … %s", code, e.ErrorType, e.Error, row.code, row.kind, row.says)
			}
		})
	}
}

// The kinds of results, as the client library reads them.
func TestKindsOfResults(t *testing.T) {
	at := begin.Add(50*time.Hour + 1500*time.Millisecond)
	want := value(0, sensors.Temperature, begin.Add(50*time.Hour))
	stamp := at.UnixMilli()
	for _, row := range []struct{ text, want string }{
		{`nestmon_probe_temperature_celsius{probe="a1-air"}`, fmt.Sprintf(`nestmon_probe_temperature_celsius{nest="a1", probe="a1-air", role="air", site="willow-bend"} => %g @[%d.5]`, want, stamp/1000)},
		{`nestmon_probe_temperature_celsius{probe="a1-air"}[1m]`, fmt.Sprintf("nestmon_probe_temperature_celsius{nest=\"a1\", probe=\"a1-air\", role=\"air\", site=\"willow-bend\"} =>\n%g @[%d]\n%g @[%d]",
			value(0, sensors.Temperature, begin.Add(50*time.Hour-30*time.Second)), stamp/1000-31, want, stamp/1000-1)},
		{`1e-9`, fmt.Sprintf("scalar: 0.000000001 @[%d.5]", stamp/1000)},
		{`scalar(absent_here)`, fmt.Sprintf("scalar: NaN @[%d.5]", stamp/1000)},
		{`absent_here`, ""},
	} {
		v, warnings, _, err := stored.client.Query(t.Context(), row.text, at)
		if err != nil || len(warnings) > 0 || v.String() != row.want {
			t.Errorf("%s: %v %v %v\nwant %s", row.text, v, warnings, err, row.want)
		}
	}
	// The library knows no strings, and reads any way of writing a number.
	for text, want := range map[string]string{`"a \"b\""`: `"a \"b\""`, `1e-9`: `"1e-09"`, `1e300`: `"1e+300"`, `-1/0`: `"-Inf"`, `123456.75`: `"123456.75"`} {
		_, e := ask(t, "GET", fmt.Sprintf("/api/v1/query?time=%d.5&query=%s", stamp/1000, url.QueryEscape(text)), "")
		if !strings.HasSuffix(string(e.Data), fmt.Sprintf(`"result":[%d.5,%s]}`, stamp/1000, want)) {
			t.Errorf("%s: %s", text, e.Data)
		}
	}
	v, warnings, _, err := stored.client.Query(t.Context(), "nestmon_probe_temperature_celsius", at, v1.WithLimit(2))
	if err != nil || len(v.(model.Vector)) != 2 || !slices.Contains(warnings, "results truncated due to limit") {
		t.Errorf("two of them: %v %v %v", v, warnings, err)
	}
}

// Many at once: one after the other is worked out, and who waits in vain is told so.
func TestManyAtOnce(t *testing.T) {
	var wait sync.WaitGroup
	codes := make([]int, 60)
	for i := range codes {
		wait.Go(func() {
			codes[i], _ = ask(t, "GET", "/api/v1/query?timeout=1ms&query="+url.QueryEscape(endless), "")
		})
	}
	wait.Wait()
	inVain := 0
	for _, code := range codes {
		switch code {
		case 503:
			inVain++
		case 200: // a clock of a millisecond rings late on a machine that is busy
		default:
			t.Fatalf("codes: %v", codes)
		}
	}
	if inVain < len(codes)/2 {
		t.Errorf("only %d of %d waited in vain", inVain, len(codes))
	}
	if code, e := ask(t, "GET", "/api/v1/query?query=1", ""); code != 200 {
		t.Errorf("afterwards: %d %+v", code, e)
	}
}

// An archive that cannot be read is unavailable, which is no fault of who asks.
func TestAnArchiveThatCannotBeRead(t *testing.T) {
	a, err := archive.Open(t.TempDir(), archive.Options{Probes: probes})
	if err != nil {
		t.Fatal(err)
	}
	if err := a.Commit(exporter.Commit{Time: begin, Readings: []sensors.Reading{{Probe: "far", Time: begin, Value: 20}}}); err != nil {
		t.Fatal(err)
	}
	s, err := serve(a)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close(t.Context())
	was := stored.url
	stored.url = "http://" + s.Addr()
	defer func() { stored.url = was }()
	text := "/api/v1/query?query=" + url.QueryEscape(`{site=~".+"}`)
	if code, e := ask(t, "GET", text, ""); code != 200 {
		t.Fatalf("while it is open: %d %+v", code, e)
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	if code, e := ask(t, "GET", text, ""); code != 503 || e.ErrorType != "unavailable" || strings.Contains(e.Error, "sql") {
		t.Errorf("%d %+v", code, e)
	}
}
