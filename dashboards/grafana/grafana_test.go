package grafana

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/grafana/grafana-foundation-sdk/go/cog/plugins"
)

// file is a dashboard as it lies here.
type file struct{ name, text string }

func files(t *testing.T) []file {
	t.Helper()
	plugins.RegisterDefaultPlugins()
	paths, err := filepath.Glob("*/*.json")
	if err != nil || len(paths) != 8 {
		t.Fatalf("%d dashboards, want four for each of two data sources: %v", len(paths), err)
	}
	all := make([]file, len(paths))
	for i, path := range paths {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		all[i] = file{path, string(text)}
	}
	return all
}

// read reads a dashboard. Without a mistake the strict error is not nil, but empty, and leaves out every panel; so it is read twice.
func (f file) read() (board classic, problem error) {
	var strict classic
	if err := strict.UnmarshalJSONStrict([]byte(f.text)); err != nil && err.Error() != "" {
		return board, err
	}
	if err := json.Unmarshal([]byte(f.text), &board); err != nil {
		return board, err
	}
	if err := board.Validate(); err != nil && err.Error() != "" {
		return board, err
	}
	return board, nil
}

// problems lists what is wrong with a dashboard; most of it neither Grafana's Go types nor its import would tell.
func problems(f file) []string {
	var out []string
	say := func(what ...string) { out = append(out, strings.Join(what, " ")) }
	board, err := f.read()
	if err != nil {
		return []string{err.Error()}
	}
	if uid := *board.Uid; len(uid) < 8 || len(uid) > 40 {
		say("the uid", uid, "has not 8 to 40 characters")
	}
	known := []string{"stat", "table", "timeseries", "state-timeline", "text"}
	taken := map[[2]uint32]string{}
	ids, titles := map[uint32]bool{}, map[string]bool{}
	for _, either := range board.Panels {
		p := either.Panel
		if p == nil {
			say("something that is no panel")
			continue
		}
		title := *p.Title
		if ids[*p.Id] {
			say(title, "shares its id")
		}
		ids[*p.Id] = true
		if title == "" != (p.Type == "text") || titles[title] && title != "" {
			say("the title", title, "is missing or twice there")
		}
		titles[title] = true
		if !slices.Contains(known, p.Type) {
			say(title, "is a panel of an unknown kind,", p.Type)
		}
		if p.Description == nil || len(*p.Description) < 20 {
			say(title, "does not say what to do")
		}
		for x := p.GridPos.X; x < p.GridPos.X+p.GridPos.W; x++ {
			for y := p.GridPos.Y; y < p.GridPos.Y+p.GridPos.H; y++ {
				if over := taken[[2]uint32{x, y}]; over != "" {
					say(title, "lies over", over)
				}
				taken[[2]uint32{x, y}] = title + "."
			}
		}
		if p.Type != "text" && len(p.Targets) == 0 {
			say(title, "asks for nothing")
		}
	}
	for _, m := range regexp.MustCompile(`"(mode|sort|displayMode|placement|drawStyle|lineInterpolation|showPoints|showValue|align|graphMode|colorMode|orientation|textMode|justifyMode)": ""`).FindAllString(f.text, -1) {
		say("an empty choice:", m)
	}
	for _, m := range regexp.MustCompile(`"uid": "([^"]*)"`).FindAllStringSubmatch(f.text, -1) {
		if m[1] != "${datasource}" && m[1] != *board.Uid {
			say("the data source", m[1], "is not the chosen one")
		}
	}
	defined := map[string]bool{}
	for _, v := range board.Templating.List {
		defined[v.Name] = true
	}
	used := map[string]bool{}
	for _, m := range regexp.MustCompile(`\$\{?(\w+)`).FindAllStringSubmatch(f.text, -1) {
		name := m[1]
		used[name] = true
		if !defined[name] && !strings.HasPrefix(name, "__") && !strings.HasPrefix(name, "tag_") && name != "timeFilter" {
			say("the variable", name, "is not defined")
		}
	}
	for name := range defined {
		if !used[name] {
			say("the variable", name, "is not used")
		}
	}
	return out
}

func TestDashboards(t *testing.T) {
	all := files(t)
	seen := map[string]string{}
	for _, f := range all {
		board, _ := f.read()
		for _, p := range problems(f) {
			t.Errorf("%s: %s", f.name, p)
		}
		for _, unique := range []string{"uid " + *board.Uid, "title " + *board.Title} {
			if seen[unique] != "" {
				t.Errorf("%s and %s share the %s", f.name, seen[unique], unique)
			}
			seen[unique] = f.name
		}
	}
	// What is empty because nobody answers must not read as good news.
	for _, f := range all {
		for _, m := range regexp.MustCompile(`"noValue": "([^"]*)"|"id": "noValue",\s*"value": "([^"]*)"`).FindAllStringSubmatch(f.text, -1) {
			if text := m[1] + m[2]; text != unheard && text != unfound && text != "–" {
				t.Errorf("%s: where nothing came it says %q", f.name, text)
			}
		}
	}
}

// TestPlantedProblems shows that the checks see what they are there for.
func TestPlantedProblems(t *testing.T) {
	all := files(t)
	for _, row := range []struct {
		name, was, is, want string
	}{
		{"a variable nobody defined", `$site`, `$shed`, "shed is not defined"},
		{"a fixed data source", `"uid": "${datasource}"`, `"uid": "P1809"`, "is not the chosen one"},
		{"a panel over another", `"x": 6,`, `"x": 5,`, "lies over"},
		{"a kind Grafana does not have", `"type": "stat"`, `"type": "statt"`, "of an unknown kind"},
		{"an empty choice", `"mode": "multi"`, `"mode": ""`, "an empty choice"},
		{"a long uid", `"uid": "nestmon-prometheus-rabbitry"`, `"uid": "` + strings.Repeat("n", 41) + `"`, "8 to 40"},
		{"an id twice", `"id": 2,`, `"id": 1,`, "shares its id"},
		{"a title twice", `"title": "Chores due"`, `"title": "Worst alarm"`, "twice there"},
		{"wider than the grid", `"w": 24,`, `"w": 25,`, "gridPos.w"},
		{"an option Grafana does not have", `"graphMode"`, `"graphMood"`, "graphMood"},
		{"a query's field that does not exist", `"expr"`, `"exprs"`, "exprs"},
	} {
		t.Run(row.name, func(t *testing.T) {
			var f file
			for _, one := range all {
				if one.name == filepath.Join("prometheus", "rabbitry.json") {
					f.text = strings.ReplaceAll(one.text, row.was, row.is)
					if f.text == one.text {
						t.Fatalf("there is no %s", row.was)
					}
				}
			}
			if got := strings.Join(problems(f), "\n"); !strings.Contains(got, row.want) {
				t.Errorf("got %q, want %q", got, row.want)
			}
		})
	}
}

func TestMakeRefuses(t *testing.T) {
	known := []Metric{{Name: "nestmon_limit_celsius", Help: "x", Labels: []string{"nest", "limit"}}}
	m := &maker{metrics: map[string]Metric{known[0].Name: known[0]}}
	for _, row := range []struct {
		name, want string
		ask        func()
	}{
		{"what is exported", "", func() { m.of("limit_celsius", `limit="air-hot"`) }},
		{"a metric nobody exports", "no metric nestmon_limits", func() { m.of("limits") }},
		{"a label it does not have", "has no label role", func() { m.of("limit_celsius", `role="air"`) }},
		{"no matcher", "is no matcher", func() { m.of("limit_celsius", "air-hot") }},
	} {
		m.errs = nil
		row.ask()
		var got string
		for _, err := range m.errs {
			got += err.Error()
		}
		if !strings.Contains(got, row.want) || (row.want == "") != (got == "") {
			t.Errorf("%s: %q, want %q", row.name, got, row.want)
		}
	}
	if _, err := Make(known, nil); err == nil {
		t.Error("dashboards of metrics nobody exports are made")
	}
}

// TestProvisioning reads the files for Grafana's provisioning by the fields its documentation has, and looks whether they lead to the dashboards.
func TestProvisioning(t *testing.T) {
	var providers struct {
		APIVersion int `yaml:"apiVersion"`
		Providers  []struct {
			Name, Folder, Type    string
			UpdateIntervalSeconds int `yaml:"updateIntervalSeconds"`
			Options               struct{ Path string }
		}
	}
	var sources struct {
		APIVersion  int `yaml:"apiVersion"`
		Datasources []struct {
			Name, Type, Access, URL, User string
			JSONData                      map[string]string `yaml:"jsonData"`
			SecureJSONData                map[string]string `yaml:"secureJsonData"`
		}
	}
	for file, into := range map[string]any{"dashboards": &providers, "datasources": &sources} {
		text, err := os.ReadFile(filepath.Join("provisioning", file+".yaml"))
		if err != nil {
			t.Fatal(err)
		}
		if err := yaml.UnmarshalWithOptions(text, into, yaml.Strict()); err != nil {
			t.Errorf("%s: %v", file, err)
		}
	}
	if providers.APIVersion != 1 || sources.APIVersion != 1 || len(providers.Providers) != 2 || len(sources.Datasources) != 3 {
		t.Fatalf("%+v\n%+v", providers, sources)
	}
	for _, p := range providers.Providers {
		if found, err := filepath.Glob(filepath.Join(filepath.Base(p.Options.Path), "*.json")); err != nil || len(found) != 4 || p.Type != "file" || p.Name == "" {
			t.Errorf("%+v leads to %v", p, found)
		}
	}
	for _, s := range sources.Datasources {
		if s.Type != string(prometheusSource) && s.Type != string(influxdbSource) || s.Access != "proxy" {
			t.Errorf("%+v", s)
		}
		for name, secret := range s.SecureJSONData {
			if !strings.Contains(secret, "$NESTMON_") {
				t.Errorf("%s: %s does not come from the environment", s.Name, name)
			}
		}
	}
}
