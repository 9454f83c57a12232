// Package boardtest makes boards of files for tests: what the kernel of one shows in /sys and /proc, below a folder. They are written by the
// kernel's documentation (hardware/*.go name it), not taken from a board.
package boardtest

import (
	"embed"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Every line of a board is a file and its text, or a link and where it leads; a file that comes again has one line more.
//
//go:embed boards/*.txt
var boards embed.FS

// Plant puts a board below root.
func Plant(t testing.TB, root, name string) {
	t.Helper()
	text, err := boards.ReadFile("boards/" + name + ".txt")
	if err != nil {
		t.Fatal(err)
	}
	files := map[string]string{}
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSuffix(line, "\n")
		if line == "" || line[0] == '#' {
			continue
		}
		if path, to, ok := strings.Cut(line, " -> "); ok {
			Link(t, filepath.Join(root, path), to)
			continue
		}
		path, has, _ := strings.Cut(line, " = ")
		files[path] += has + "\n"
	}
	for path, has := range files {
		Put(t, filepath.Join(root, path), has)
	}
}

// Put writes a file and makes its folder.
func Put(t testing.TB, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// Link makes a link and its folder.
func Link(t testing.TB, path, to string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(to, path); err != nil {
		t.Fatal(err)
	}
}
