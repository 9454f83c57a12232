package tests

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Words that tie the repository to one machine or one network. They are put together here so that this file does not
// hold them itself.
var (
	machinePath  = regexp.MustCompile(`(^|[\s"'=(:\x60])/(` + strings.Join([]string{"home", "root", "work", "Users", "mnt"}, "|") + `)/[A-Za-z0-9]`)
	registryHost = regexp.MustCompile(strings.Join([]string{`registry\.npmjs`, `proxy\.golang`, `sum\.golang`, `deb\.debian`, `pypi\.org`, `crates\.io`}, "|"))
)

// TestNothingNamesAMachine looks through every file that git keeps.
func TestNothingNamesAMachine(t *testing.T) {
	files, err := keptFiles()
	if err != nil {
		t.Skipf("git does not list the files here: %v", err)
	}
	if len(files) < 50 {
		t.Fatalf("only %d files found", len(files))
	}
	for _, file := range files {
		text, err := os.ReadFile(filepath.Join(root, file))
		if os.IsNotExist(err) {
			continue // removed, and not yet committed
		}
		if err != nil {
			t.Fatal(err)
		}
		for _, found := range machineWords(text) {
			t.Errorf("%s: %s", file, found)
		}
	}
}

func keptFiles() ([]string, error) {
	out, err := exec.Command("git", "-C", root, "ls-files", "-z", "--cached", "--others", "--exclude-standard").Output()
	if err != nil {
		return nil, err
	}
	return strings.FieldsFunc(string(out), func(r rune) bool { return r == 0 }), nil
}

func machineWords(text []byte) []string {
	if bytes.IndexByte(text[:min(len(text), 8000)], 0) >= 0 {
		return nil // not a text
	}
	var out []string
	for _, m := range machinePath.FindAll(text, -1) {
		out = append(out, "a path of one machine: "+string(bytes.TrimSpace(m)))
	}
	for _, m := range registryHost.FindAll(text, -1) {
		out = append(out, "a registry's host: "+string(m))
	}
	return out
}

func TestPlantedWords(t *testing.T) {
	for _, row := range []struct {
		name, text string
		want       int
	}{
		{"a home", "cd /" + "home/anna/nestmon", 1},
		{"in quotes", `open("/` + `root/x")`, 1},
		{"a registry", "https://proxy" + ".golang.org", 1},
		{"a place on every board", "data: /var/lib/nestmon", 0},
		{"a path inside the repository", "look into hardware/work/x", 0},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got := machineWords([]byte(row.text)); len(got) != row.want {
				t.Errorf("found %q, want %d", got, row.want)
			}
		})
	}
}
