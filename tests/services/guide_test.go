package services_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// What is shipped for a Prometheus and for several sheds; the tests run these files, with other addresses and shorter times.
const guideFolder = "../../dashboards/prometheus"

func shipped(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(guideFolder, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// guideBlock is the block of the guide that begins with the comment of that name.
func guideBlock(t *testing.T, name string) string {
	t.Helper()
	_, rest, found := strings.Cut(shipped(t, "README.md"), "\n# "+name)
	block, _, closed := strings.Cut(rest, "\n```")
	if !found || !closed {
		t.Fatalf("the guide has no block %s", name)
	}
	return "# " + name + block + "\n"
}

// changed replaces text by text, each of which must be there.
func changed(t *testing.T, text string, pairs ...string) string {
	t.Helper()
	for i := 0; i < len(pairs); i += 2 {
		if !strings.Contains(text, pairs[i]) {
			t.Fatalf("%q is not in\n%s", pairs[i], text)
		}
	}
	return strings.NewReplacer(pairs...).Replace(text)
}

// hurried is a copy of rules whose delays are short; promtool's tests hold the shipped ones.
func hurried(rules string) string {
	rules = regexp.MustCompile(`(?m)^( +)for: .*$`).ReplaceAllString(rules, "${1}for: 0s")
	return regexp.MustCompile(`keep_firing_for: .*`).ReplaceAllString(rules, "keep_firing_for: 1s")
}

// alerted reports whether an Alertmanager told of such an alert; labels is part of them as JSON, "" for any.
func (e *ears) alerted(name, status, labels string) bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	for _, text := range e.heard {
		var told struct {
			Alerts []struct {
				Status string
				Labels map[string]string
			}
		}
		if json.Unmarshal([]byte(text), &told) != nil {
			continue
		}
		for _, a := range told.Alerts {
			list, _ := json.Marshal(a.Labels) // of texts; sorted
			if a.Status == status && a.Labels["alertname"] == name && strings.Contains(string(list), labels) {
				return true
			}
		}
	}
	return false
}

// The outside checks of what is shipped.
func TestShippedFilesAreInOrder(t *testing.T) {
	promtool := binary(t, "promtool")
	tests, err := filepath.Glob(filepath.Join(guideFolder, "*_test.yml"))
	if err != nil || len(tests) < 2 {
		t.Fatalf("%q %v", tests, err)
	}
	dir := t.TempDir()
	for _, name := range []string{"prometheus.yml", "alerts.yml"} {
		write(t, filepath.Join(dir, name), shipped(t, name))
	}
	write(t, filepath.Join(dir, "scrape.password"), "willow-7741")
	write(t, filepath.Join(dir, "sheds.pem"), "")
	for _, args := range [][]string{
		{"check", "rules", filepath.Join(guideFolder, "alerts.yml")},
		append([]string{"test", "rules"}, tests...),
		{"check", "config", filepath.Join(dir, "prometheus.yml")},
	} {
		if out, err := exec.Command(promtool, args...).CombinedOutput(); err != nil {
			t.Errorf("promtool %v: %v\n%s", args, err, out)
		}
	}
	// The checks can fail.
	spoilt := write(t, filepath.Join(dir, "alerts.yml"), changed(t, shipped(t, "alerts.yml"), ">= 3", ">= "))
	if err := exec.Command(promtool, "check", "rules", spoilt).Run(); err == nil {
		t.Error("promtool accepts spoilt rules, so it checks nothing")
	}
	t.Run("alertmanager", func(t *testing.T) {
		if out, err := exec.Command(binary(t, "amtool"), "check-config", filepath.Join(guideFolder, "alertmanager.yml")).CombinedOutput(); err != nil {
			t.Errorf("amtool: %v\n%s", err, out)
		}
	})
}
