package services_test

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"github.com/prometheus/prometheus/promql/parser"

	"nestmon/dashboards/grafana"
	"nestmon/exporter"
	"nestmon/exporter/metrics"
	"nestmon/thresholds/alarm"
)

var update = flag.Bool("update", false, "rewrite the dashboards from what is exported")

const dashboards = "../../dashboards/grafana"

// exported are the metrics of a real scrape of everything.
func exported(t *testing.T) []grafana.Metric {
	t.Helper()
	sink := metrics.New()
	if err := sink.Publish(t.Context(), everything(time.Now())); err != nil {
		t.Fatal(err)
	}
	answer := httptest.NewRecorder()
	sink.Handler().ServeHTTP(answer, httptest.NewRequest(http.MethodGet, "/metrics", http.NoBody))
	parser := expfmt.NewTextParser(model.UTF8Validation)
	families, err := parser.TextToMetricFamilies(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	var all []grafana.Metric
	for _, name := range slices.Sorted(maps.Keys(families)) {
		if !strings.HasPrefix(name, "nestmon_") {
			continue // of the program itself, by names that other dashboards know
		}
		f := families[name]
		m := grafana.Metric{Name: f.GetName(), Help: f.GetHelp()}
		for _, l := range f.GetMetric()[0].GetLabel() {
			m.Labels = append(m.Labels, l.GetName())
		}
		all = append(all, m)
	}
	if len(all) < 30 {
		t.Fatalf("only %d metrics", len(all))
	}
	return all
}

// TestGrafanaDashboardsAreNew makes the dashboards anew and compares.
func TestGrafanaDashboardsAreNew(t *testing.T) {
	var events []grafana.Event
	for _, name := range alarm.Names {
		events = append(events, grafana.Event{Name: string(name), Words: name.Plain()})
	}
	files, err := grafana.Make(exported(t), events)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		path := filepath.Join(dashboards, filepath.FromSlash(f.Name))
		if *update {
			if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, f.JSON, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if got, err := os.ReadFile(path); err != nil || !bytes.Equal(got, f.JSON) {
			t.Errorf("%s is not what is made now (%v); make it anew with `go test ./tests/services -run Grafana -update` and read the difference", f.Name, err)
		}
	}
}

// asked is one query of a dashboard.
type asked struct {
	board, title string
	kind         string // of the panel
	query        string
	legend       string
	columns      []string // the labels a list shows
}

func (a asked) String() string { return a.board + ", " + a.title + ":\n" + a.query }

// asksFor reports whether the query holds one of some words.
func (a asked) asksFor(words []string) bool {
	return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(a.query, w) })
}

// latest reports whether only the newest values are asked for.
func (a asked) latest() bool { return a.kind == "stat" || a.kind == "table" }

// queries are all that the dashboards on a data source ask, and what the variables ask.
func queries(t *testing.T, source string) (all []asked, variables []string) {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(dashboards, source, "*.json"))
	if err != nil || len(paths) != 4 {
		t.Fatalf("%d dashboards on %s: %v", len(paths), source, err)
	}
	for _, path := range paths {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		var board struct {
			Title  string
			Panels []struct {
				Title, Type string
				Targets     []struct{ Expr, Query, LegendFormat, Alias string }
				FieldConfig struct {
					Overrides []struct {
						Matcher struct{ ID, Options string }
					}
				}
			}
			Templating struct {
				List []struct{ Name, Type, Query string }
			}
		}
		if err := json.Unmarshal(text, &board); err != nil {
			t.Fatal(err)
		}
		for _, p := range board.Panels {
			for _, q := range p.Targets {
				a := asked{board: board.Title, title: p.Title, kind: p.Type, query: q.Expr + q.Query, legend: q.LegendFormat + q.Alias}
				for _, o := range p.FieldConfig.Overrides {
					if o.Matcher.ID == "byName" && !strings.HasPrefix(o.Matcher.Options, "Value") {
						a.columns = append(a.columns, o.Matcher.Options)
					}
				}
				all = append(all, a)
			}
		}
		for _, v := range board.Templating.List {
			if v.Type == "query" {
				variables = append(variables, v.Query)
			}
		}
	}
	if len(all) < 20 {
		t.Fatalf("only %d queries on %s", len(all), source)
	}
	slices.Sort(variables)
	return all, slices.Compact(variables)
}

// chosen puts in what Grafana does for what was chosen, and its own words for the time.
func chosen(query string, values ...string) string {
	return strings.NewReplacer(append(values, "$__rate_interval", "1m", "$__interval", "15s", "$__range", "1h", "$nest", "oak")...).Replace(query)
}

// ofTarget are the labels a scrape adds.
var ofTarget = []string{"instance", "job", "site"}

// TestGrafanaNamesWhatIsExported parses every query as a Prometheus does, and looks each name and label up in a real scrape.
func TestGrafanaNamesWhatIsExported(t *testing.T) {
	known := map[string][]string{"up": nil, "scrape_duration_seconds": nil, "scrape_samples_scraped": nil} // a Prometheus adds these
	for _, m := range exported(t) {
		known[m.Name] = m.Labels
	}
	shown := map[string]bool{}
	all, variables := queries(t, "prometheus")
	for _, v := range variables {
		parts := labelValues.FindStringSubmatch(v)
		if parts == nil {
			t.Errorf("the variable %s is no label_values(series, label)", v)
			continue
		}
		if problems := unknown(t, parts[1], known, map[string]bool{}, parts[2]); problems != nil {
			t.Errorf("the variable %s: %s", v, problems)
		}
	}
	for _, a := range all {
		if problems := unknown(t, chosen(a.query, "$degrees", "1.8"), known, shown); problems != nil {
			t.Errorf("%s: %s", a, problems)
		}
	}
	for name := range known {
		if !shown[name] {
			t.Errorf("%s is on no dashboard: show it", name)
		}
	}
}

var labelValues = regexp.MustCompile(`^label_values\((.*), (\w+)\)$`)

// unknown lists what a query names and nobody exports, and notes the metrics it names.
func unknown(t *testing.T, query string, known map[string][]string, shown map[string]bool, labels ...string) (out []string) {
	t.Helper()
	tree, err := parser.NewParser(parser.Options{}).ParseExpr(query)
	if err != nil {
		return []string{err.Error()}
	}
	there := map[string]bool{}
	for _, l := range ofTarget {
		there[l] = true
	}
	// A label may be matched where the series has it, and grouped or joined by where any series of the query has it.
	parser.Inspect(tree, func(node parser.Node, _ []parser.Node) error {
		s, ok := node.(*parser.VectorSelector)
		if !ok {
			return nil
		}
		names := []string{s.Name}
		for _, m := range s.LabelMatchers {
			if m.Name == "__name__" && s.Name == "" {
				names = strings.Split(m.Value, "|")
			}
		}
		for _, name := range names {
			own, exported := known[name]
			if !exported {
				out = append(out, name+" is not exported")
			}
			shown[name] = true
			for _, l := range own {
				there[l] = true
			}
			for _, m := range s.LabelMatchers {
				if m.Name != "__name__" && !slices.Contains(own, m.Name) && !slices.Contains(ofTarget, m.Name) {
					out = append(out, name+" has no label "+m.Name)
				}
			}
		}
		return nil
	})
	parser.Inspect(tree, func(node parser.Node, _ []parser.Node) error {
		switch n := node.(type) {
		case *parser.AggregateExpr:
			labels = append(labels, n.Grouping...)
		case *parser.BinaryExpr:
			if n.VectorMatching != nil {
				labels = append(labels, n.VectorMatching.MatchingLabels...)
			}
		}
		return nil
	})
	for _, l := range labels {
		if !there[l] {
			out = append(out, "no series has the label "+l)
		}
	}
	return out
}

// TestPlantedQueries shows that the look-up sees what it is there for.
func TestPlantedQueries(t *testing.T) {
	known := map[string][]string{"nestmon_a": {"nest"}, "nestmon_b": {"sink"}}
	for _, row := range []struct{ query, want string }{
		{`sum by (nest, site) (nestmon_a{nest="oak", site=~".*"})`, ""},
		{`nestmon_c`, "not exported"},
		{`{__name__=~"nestmon_a|nestmon_c"}`, "nestmon_c is not exported"},
		{`nestmon_a{sink="x"}`, "has no label sink"},
		{`sum by (probe) (nestmon_a)`, "no series has the label probe"},
		{`nestmon_a and on (kind) nestmon_b`, "no series has the label kind"},
		{`rate(nestmon_a)`, "expected type range vector"},
		{`sum(nestmon_a`, "unclosed"},
	} {
		if got := strings.Join(unknown(t, row.query, known, map[string]bool{}), "; "); !strings.Contains(got, row.want) || (row.want == "") != (got == "") {
			t.Errorf("%s: %q, want %q", row.query, got, row.want)
		}
	}
}

var inLegend = regexp.MustCompile(`\{\{(\w+)\}\}`)

// grafanaOnPrometheus asks a server that scrapes nestmon every query of the dashboards, as Grafana would. What asks for one of
// empty may have no answer; all others must.
func grafanaOnPrometheus(t *testing.T, server, site string, empty []string) {
	t.Helper()
	all, variables := queries(t, "prometheus")
	for _, v := range variables {
		parts := labelValues.FindStringSubmatch(v)
		if site == ".*" && parts[2] == "site" {
			continue // a Prometheus of one shed need not name it
		}
		eventually(t, v+" has values", func() bool { return len(listed(t, server, parts[2], chosen(parts[1], "$site", site))) > 0 })
	}
	for _, a := range all {
		may := a.asksFor(empty)
		var answer []series
		for _, degrees := range []string{"1.8", "1"} {
			query := chosen(a.query, "$degrees", degrees, "$site", site)
			ask := func() bool { answer = ranged(t, server, query, a.latest()); return len(answer) > 0 }
			if !ask() && !may {
				eventually(t, "an answer to "+a.String(), ask) // a rate needs two scrapes
			}
			if !strings.Contains(a.query, "$degrees") {
				break
			}
		}
		if may || len(answer) == 0 {
			continue
		}
		there := map[string]bool{"site": site == ".*", "Time": true}
		for _, s := range answer {
			for l := range s.Metric {
				there[l] = true
			}
		}
		for _, m := range inLegend.FindAllStringSubmatch(a.legend, -1) {
			if !there[m[1]] {
				t.Errorf("%s\nis named by the label %s, and no series has it", a, m[1])
			}
		}
		if fields := columns(all, a); len(fields) > 0 {
			for l := range there {
				if l != "Time" && !slices.Contains(fields, l) && !slices.Contains([]string{"site"}, l) {
					t.Errorf("%s\nhas the label %s, for which the list has no column", a, l)
				}
			}
		}
	}
}

// columns are the labels that the list of a shows.
func columns(all []asked, a asked) []string {
	for _, b := range all {
		if b.kind == "table" && b.board == a.board && b.title == a.title {
			return b.columns
		}
	}
	return nil
}

// followsTheDegrees asks whatever depends on them in both, and compares. Limits are among it.
func followsTheDegrees(t *testing.T, server string) {
	t.Helper()
	all, _ := queries(t, "prometheus")
	compared := map[string]bool{}
	for _, a := range all {
		if !strings.Contains(a.query, "$degrees") {
			continue
		}
		key := func(s series) string {
			return strings.Join(slices.Sorted(maps.Keys(s.Metric)), ",") + s.Metric["nest"] + s.Metric["probe"]
		}
		celsius := map[string]float64{}
		for _, s := range ranged(t, server, chosen(a.query, "$degrees", "1", "$site", ".*"), true) {
			celsius[key(s)] = s.last(t)
		}
		for _, s := range ranged(t, server, chosen(a.query, "$degrees", "1.8", "$site", ".*"), true) {
			c, known := celsius[key(s)]
			if want := c*1.8 + 32; !known || s.last(t) < want-1e-6 || s.last(t) > want+1e-6 {
				t.Errorf("%s\nsays %g in °F and %g in °C", a, s.last(t), c)
			}
			compared[a.board] = true
		}
	}
	if len(compared) != 3 {
		t.Errorf("temperatures on %v, want three dashboards", compared)
	}
}

// noFalseAllClear asks whatever says how bad it is, for the site and for the nest, while one thing after another goes.
func noFalseAllClear(t *testing.T, server string, sink *metrics.Sink) {
	t.Helper()
	all, _ := queries(t, "prometheus")
	worst := slices.DeleteFunc(all, func(a asked) bool {
		return !strings.Contains(a.query, "nestmon_alarm_severity") || !a.asksFor([]string{"last_over_time"})
	})
	if len(worst) != 3 {
		t.Fatalf("%d queries say how bad it is, want those of the site, of the list of nests and of one nest", len(worst))
	}
	says := func(want float64) func() bool {
		return func() bool {
			return !slices.ContainsFunc(worst, func(a asked) bool {
				answer := slices.DeleteFunc(ranged(t, server, chosen(a.query, "$site", ".*"), true), func(s series) bool {
					return s.Metric["nest"] != "" && s.Metric["nest"] != "oak" // nests of before come back while nobody says that they are gone
				})
				return len(answer) != 1 || answer[0].last(t) != want
			})
		}
	}
	for _, row := range []struct {
		name string
		make func(*exporter.State)
		want float64
	}{
		{"an urgent alarm stands", func(*exporter.State) {}, 3},
		{"nothing stands, but chill is not judged", func(s *exporter.State) { s.Snapshot.Alarms = nil }, 0.5},
		{"nothing stands, and all but damp is judged", func(s *exporter.State) {
			s.Snapshot.Alarms = nil
			for i := range s.Snapshot.Nests[0].Judged {
				s.Snapshot.Nests[0].Judged[i].Judged = s.Snapshot.Nests[0].Judged[i].Danger != "damp"
			}
		}, 0},
		{"the daemon answers but makes no new states", func(s *exporter.State) {
			s.Snapshot.Alarms, s.Snapshot.Time = nil, s.Snapshot.Time.Add(-time.Hour)
		}, 4},
	} {
		state := everything(time.Now())
		row.make(state)
		if err := sink.Publish(t.Context(), state); err != nil {
			t.Fatal(err)
		}
		eventually(t, fmt.Sprintf("while %s, all panels say %g", row.name, row.want), says(row.want))
	}
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	if err := sink.Close(ctx); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the last scrape is over", func() bool { return instant(t, server, "nestmon_build_info") == "nothing" })
	eventually(t, "a daemon that is gone is no answer", says(4))
}

// TestAShedThatIsGoneForDays asks the first panel two days after one of two sheds stopped answering.
func TestAShedThatIsGoneForDays(t *testing.T) {
	promtool := binary(t, "promtool")
	all, _ := queries(t, "prometheus")
	at := slices.IndexFunc(all, func(a asked) bool { return a.title == "Worst alarm" })
	if at < 0 {
		t.Fatal("no panel says how bad it is")
	}
	row := func(of, site, values string) string {
		return fmt.Sprintf("      - {series: '%s,job=\"nestmon\",instance=%q,site=%[2]q}', values: '%[3]s'}\n", of, site, values)
	}
	for gone, want := range map[string]int{"0": 4, "1": 0} { // what up says of the other
		text := "tests:\n  - interval: 1m\n    input_series:\n" +
			row(`up{x=""`, "hill", "1x2900") + row(`up{x=""`, "brook", "1x10 "+gone+"x2900") +
			row(`nestmon_snapshot_timestamp_seconds{x=""`, "hill", "0+60x2900") + row(`nestmon_snapshot_timestamp_seconds{x=""`, "brook", "0+60x10 stale") +
			row(`nestmon_alarm_severity{event="nest-heat"`, "hill", "0x2900") +
			fmt.Sprintf("    promql_expr_test:\n      - {expr: %q, eval_time: 47h, exp_samples: [{labels: '{}', value: %d}]}\n", chosen(all[at].query, "$site", ".*"), want)
		if out, err := exec.Command(promtool, "test", "rules", write(t, filepath.Join(t.TempDir(), "gone.yml"), text)).CombinedOutput(); err != nil {
			t.Errorf("where up is %s: %v\n%s", gone, err, out)
		}
	}
}

// grafanaOnInfluxdb asks a server that nestmon filled every query of the dashboards, as Grafana would. What asks for one of
// empty may have no answer; all others must.
func grafanaOnInfluxdb(t *testing.T, server *influxd, db string, empty []string) {
	t.Helper()
	all, variables := queries(t, "influxdb")
	now := time.Now()
	filter := fmt.Sprintf("time >= %dms and time <= %dms", now.Add(-time.Hour).UnixMilli(), now.Add(time.Minute).UnixMilli())
	ask := func(query, degrees string) ([]string, [][]any) {
		return server.queryIn(t, db, chosen(query, "$timeFilter", filter, "$degrees", degrees, "$site", ".*"))
	}
	for _, v := range variables {
		if _, rows := ask(v, "1"); len(rows) == 0 {
			t.Errorf("the variable %s has no values", v)
		}
	}
	for _, a := range all {
		columns, rows := ask(a.query, "1.8")
		if len(rows) == 0 {
			if !a.asksFor(empty) {
				t.Errorf("%s\nhas no answer", a)
			}
			continue
		}
		// The newest of what has no time yet is the newest of 1970.
		if at, ok := rows[0][0].(float64); a.kind == "table" && (!ok || at < float64(now.Add(-2*time.Hour).Unix())) {
			t.Errorf("%s\nis of %v, not of the reading's time", a, rows[0][0])
		}
		if !strings.Contains(a.query, "$degrees") {
			continue
		}
		_, celsius := ask(a.query, "1")
		last := len(columns) - 1
		for i, row := range rows {
			f, isF := row[last].(float64)
			if c, isC := celsius[i][last].(float64); isF != isC || isF && math.Abs(f-(c*1.8+32)) > 1e-6 {
				t.Errorf("%s\nsays %v in °F and %v in °C", a, row[last], celsius[i][last])
			}
		}
	}
}
