package tests

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"

	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
)

// rule is one alert as it is shipped.
type rule struct {
	Alert       string
	Expr        string
	For         string
	Keep        string `yaml:"keep_firing_for"`
	Labels      map[string]string
	Annotations map[string]string
}

func shippedRules(t *testing.T) (all []rule) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(root, "dashboards/prometheus/alerts.yml"))
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Groups []struct{ Rules []rule } }
	if err := yaml.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	for _, g := range file.Groups {
		all = append(all, g.Rules...)
	}
	if len(all) < 15 {
		t.Fatalf("only %d rules", len(all))
	}
	return all
}

// exported is what the exporter's own test holds it to: the labels of every metric.
func exported(t *testing.T) map[string][]string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(root, "exporter/metrics/testdata/metrics.txt"))
	if err != nil {
		t.Fatal(err)
	}
	labels := map[string][]string{}
	for line := range strings.Lines(string(text)) {
		name, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
		if name == "#" {
			continue
		}
		if n, list, found := strings.Cut(name+" "+rest, "{"); found {
			name = n
			for _, m := range labelName.FindAllStringSubmatch(list, -1) {
				labels[name] = append(labels[name], m[1])
			}
		}
		labels[name] = append(labels[name], "site", "instance", "job") // these come with the scrape
	}
	return labels
}

var (
	labelName = regexp.MustCompile(`(\w+)=~?"`)
	selector  = regexp.MustCompile(`(nestmon_\w+)(?:\{([^}]*)\})?`)
	matcher   = regexp.MustCompile(`(\w+)(=|!=|=~|!~)"([^"]*)"`)
	grouping  = regexp.MustCompile(`(?:by|on) \(([^)]*)\)`)
	used      = regexp.MustCompile(`\$labels\.(\w+)`)
)

// ruleFaults says what is wrong with a rule: what it names does not exist, or what a person needs is missing.
func ruleFaults(r rule, exported map[string][]string) (faults []string) {
	fault := func(ok bool, what string) {
		if !ok {
			faults = append(faults, what)
		}
	}
	watchdog := r.Alert == "NestmonWatchdog"
	fault(watchdog || r.For != "", "no for")
	fault(watchdog || r.Keep != "", "no keep_firing_for: it flaps")
	fault(slices.Contains([]string{"critical", "warning"}, r.Labels["severity"]) || watchdog && r.Labels["severity"] == "none", "severity "+r.Labels["severity"])
	fault(r.Annotations["summary"] != "", "no summary")
	fault(r.Annotations["description"] != "", "no description: nobody knows what to do")
	known := []string{"site", "instance", "job"}
	for _, s := range selector.FindAllStringSubmatch(r.Expr, -1) {
		labels, there := exported[s[1]]
		fault(there, s[1]+" is not exported")
		known = append(known, labels...)
		for _, m := range matcher.FindAllStringSubmatch(s[2], -1) {
			fault(slices.Contains(labels, m[1]), s[1]+" has no label "+m[1])
			for value := range strings.SplitSeq(m[3], "|") {
				fault(exists(m[1], value), m[1]+" is never "+value)
			}
		}
	}
	for _, g := range grouping.FindAllStringSubmatch(r.Expr, -1) {
		list := regexp.MustCompile(`\w+`).FindAllString(g[1], -1)
		fault(slices.Contains(list, "site") && slices.Contains(list, "instance"), "sheds are mixed by "+g[0])
		for _, label := range list {
			fault(slices.Contains(known, label), "nothing here has the label "+label)
		}
	}
	for _, text := range r.Annotations {
		for _, l := range used.FindAllStringSubmatch(text, -1) {
			fault(slices.Contains(known, l[1]), "nothing here has the label "+l[1])
		}
	}
	return faults
}

// exists reports whether the exporter ever gives a label this value, as far as its values are a list.
func exists(label, value string) bool {
	switch label {
	case "event":
		return slices.Contains(alarm.Names, alarm.Name(value))
	case "stage":
		return slices.Contains(thresholds.Stages, thresholds.Stage(value))
	case "role":
		return slices.Contains([]thresholds.Role{thresholds.Cluster, thresholds.Cluster2, thresholds.Air}, thresholds.Role(value))
	case "status":
		return slices.Contains(alarm.Statuses, alarm.Status(value))
	case "danger":
		return slices.Contains([]string{"heat", "chill", "cold", "damp"}, value)
	}
	return true
}

func TestRulesNameWhatIsExported(t *testing.T) {
	labels := exported(t)
	pages := 0
	for _, r := range shippedRules(t) {
		for _, f := range ruleFaults(r, labels) {
			t.Errorf("%s: %s", r.Alert, f)
		}
		if r.Labels["severity"] == "critical" {
			pages++
		}
	}
	if most := 8; pages > most { // ours, no source: more and nobody gets up
		t.Errorf("%d rules wake people, want at most %d", pages, most)
	}
}

// TestEveryRuleIsTested: each fires and is silent somewhere in the unit tests that promtool runs.
func TestEveryRuleIsTested(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(root, "dashboards/prometheus/*_test.yml"))
	if err != nil || len(files) < 2 {
		t.Fatalf("%q %v", files, err)
	}
	fires, silent := map[string]bool{}, map[string]bool{"NestmonWatchdog": true}
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		var file struct {
			Tests []struct {
				Rules []struct {
					Name     string `yaml:"alertname"`
					Expected []any  `yaml:"exp_alerts"`
				} `yaml:"alert_rule_test"`
			}
		}
		if err := yaml.Unmarshal(text, &file); err != nil {
			t.Fatal(err)
		}
		for _, test := range file.Tests {
			for _, r := range test.Rules {
				fires[r.Name] = fires[r.Name] || len(r.Expected) > 0
				silent[r.Name] = silent[r.Name] || len(r.Expected) == 0
			}
		}
	}
	for _, r := range shippedRules(t) {
		if !fires[r.Alert] || !silent[r.Alert] {
			t.Errorf("%s: tested to fire %v, to be silent %v", r.Alert, fires[r.Alert], silent[r.Alert])
		}
	}
}

func TestPlantedRules(t *testing.T) {
	good := rule{
		Alert: "A", Expr: `max by (site, instance, nest) (nestmon_alarm_severity{event="nest-heat"}) >= 3`, For: "1m", Keep: "1m",
		Labels: map[string]string{"severity": "critical"}, Annotations: map[string]string{"summary": "{{ $labels.nest }}", "description": "go"},
	}
	for _, row := range []struct {
		name   string
		change func(*rule)
		want   string
	}{
		{"a good one", func(*rule) {}, ""},
		{"a metric that is gone", func(r *rule) { r.Expr = "nestmon_alarm_level > 1" }, "nestmon_alarm_level is not exported"},
		{"a label it has not", func(r *rule) { r.Expr = `nestmon_bus_up{nest="a1"} == 0` }, "nestmon_bus_up has no label nest"},
		{"an event nobody raises", func(r *rule) { r.Expr = `nestmon_alarm_severity{event=~"nest-heat|nest-fire"} > 1` }, "event is never nest-fire"},
		{"a status no alarm has", func(r *rule) { r.Expr = `nestmon_alarms_quieted{status="asleep"} > 0` }, "status is never asleep"},
		{"sheds in one heap", func(r *rule) { r.Expr = "max by (nest) (nestmon_alarm_severity) > 1" }, "sheds are mixed"},
		{"a word for what is not there", func(r *rule) { r.Annotations = map[string]string{"summary": "{{ $labels.bus }}", "description": "go"} }, "nothing here has the label bus"},
		{"no delay", func(r *rule) { r.For = "" }, "no for"},
		{"nothing to do", func(r *rule) { r.Annotations = map[string]string{"summary": "hot"} }, "no description"},
	} {
		r := good
		row.change(&r)
		got := strings.Join(ruleFaults(r, exported(t)), "; ")
		if !strings.Contains(got, row.want) || (row.want == "") != (got == "") {
			t.Errorf("%s: %q, want %q", row.name, got, row.want)
		}
	}
}
