package web_test

import (
	"io/fs"
	"regexp"
	"strings"
	"testing"

	"nestmon/dashboards"
	"nestmon/sensors"
	"nestmon/thresholds"
	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
	"nestmon/thresholds/nest"
	"nestmon/thresholds/past"
)

// The page's catalogue must have words for every name that can arrive, or a person reads a key.
func TestPageHasWordsForEveryName(t *testing.T) {
	catalogue, err := fs.ReadFile(dashboards.Page(), "texts.js")
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, n := range alarm.Names {
		names = append(names, string(n))
	}
	for _, f := range sensors.Faults {
		names = append(names, string(f))
	}
	for _, d := range nest.Doubts {
		names = append(names, string(d))
	}
	for _, k := range brood.Kinds {
		names = append(names, string(k))
	}
	for _, s := range brood.Seasons {
		names = append(names, string(s))
	}
	for _, s := range thresholds.Stages {
		names = append(names, string(s))
	}
	for _, q := range sensors.Quantities {
		names = append(names, q.String())
	}
	for _, r := range []thresholds.Role{thresholds.Cluster, thresholds.Cluster2, thresholds.Air, thresholds.CO2, thresholds.Cage, thresholds.Outside, thresholds.Battery} {
		names = append(names, string(r))
	}
	for _, s := range alarm.Statuses {
		names = append(names, string(s))
	}
	for _, a := range alarm.Actions {
		names = append(names, string(a))
	}
	for s := alarm.None; s <= alarm.Urgent; s++ {
		names = append(names, s.String())
	}
	for _, name := range names {
		if key := regexp.MustCompile(`[{,\s]"?` + regexp.QuoteMeta(name) + `"?: `); !key.Match(catalogue) {
			t.Errorf("texts.js has no words for %q", name)
		}
	}
}

var (
	notText = regexp.MustCompile(`(?s)\{\{.*?\}\}|<style>.*?</style>|<!--.*?-->|<!doctype html>|@[A-Z]+@|>(?:nestmon|api/state)<`)
	aTag    = regexp.MustCompile(`<[^>]*>`)
	spoken  = regexp.MustCompile(`(?:title|alt|placeholder|aria-label)="[^"]*\pL`) // attributes that somebody reads or hears
	aWord   = regexp.MustCompile(`\pL+`)
	comment = regexp.MustCompile(`(?m)(?:^|\s)//.*$`)
	prose   = regexp.MustCompile(`["\x60][^"\x60\n()=<>{};]*\pL+ \pL+ \pL+[^"\x60\n()=<>{};]*["\x60]|\btext: "[^"]*\pL`) // three words in a row are a sentence, fewer may be classes
)

// foreign are the texts of a file that are its own.
func foreign(name, body string) []string {
	if strings.HasSuffix(name, ".js") {
		return prose.FindAllString(comment.ReplaceAllString(body, ""), -1)
	}
	body = notText.ReplaceAllString(body, "")
	return append(spoken.FindAllString(body, -1), aWord.FindAllString(aTag.ReplaceAllString(body, ""), -1)...)
}

// Where marks crowd, the page draws the most important: what that is, package past says.
func TestMarksGiveWayInTheOrderOfTheirKinds(t *testing.T) {
	script, err := fs.ReadFile(dashboards.Page(), "marks.js")
	if err != nil {
		t.Fatal(err)
	}
	var want []string
	for _, k := range past.Kinds {
		want = append(want, `"`+string(k)+`"`)
	}
	if line := "const weights = [" + strings.Join(want, ", ") + "];"; !strings.Contains(string(script), line) {
		t.Errorf("marks.js does not say %s", line)
	}
}

// Whoever reads the page has no terminal before them: what is to be done is said in plain words, or where on the page.
func TestThePageNamesNoCommand(t *testing.T) {
	catalogue, err := fs.ReadFile(dashboards.Page(), "texts.js")
	if err != nil {
		t.Fatal(err)
	}
	command := regexp.MustCompile(`.*(?:sudo |systemctl|\.yaml|_file\b|[“‘]nestmon [a-z]|under (?:phone|publish)\b).*`)
	if !command.MatchString("make one with “nestmon password”") {
		t.Fatal("no command is seen")
	}
	for _, line := range command.FindAllString(string(catalogue), -1) {
		t.Error(strings.TrimSpace(line))
	}
}

// Another language is one file, so no other file may hold a text.
func TestNoTextStandsOutsideTheCatalogue(t *testing.T) {
	for name, planted := range map[string]string{"a.html": "<p>Too old.</p>", "b.html": `<img alt="nest">`, "c.js": `say("It is over now");`, "d.js": "el(\"p\", { text: \"Over\" })"} {
		if len(foreign(name, planted)) == 0 {
			t.Errorf("%s is not seen in %s", planted, name)
		}
	}
	looked := 0
	err := fs.WalkDir(dashboards.Page(), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || name == "texts.js" || strings.HasPrefix(name, "vendor/") || !strings.HasSuffix(name, ".js") && !strings.HasSuffix(name, ".html") {
			return err
		}
		body, err := fs.ReadFile(dashboards.Page(), name)
		looked++
		for _, text := range foreign(name, string(body)) {
			t.Errorf("%s has a text of its own: %s", name, text)
		}
		return err
	})
	if err != nil || looked < 20 {
		t.Fatal(looked, err)
	}
}
