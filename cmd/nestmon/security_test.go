package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"nestmon/exporter"
)

// securityRows reads the table below a heading of SECURITY.md: the cells of each row, without their marks of code.
func securityRows(t *testing.T, heading string) (rows [][]string) {
	t.Helper()
	text, err := os.ReadFile("../../SECURITY.md")
	if err != nil {
		t.Fatal(err)
	}
	_, part, ok := strings.Cut(string(text), "\n## "+heading+"\n")
	if !ok {
		t.Fatalf("SECURITY.md has no part %q", heading)
	}
	part, _, _ = strings.Cut(part, "\n## ")
	for line := range strings.Lines(part) {
		if cells := strings.Split(strings.Trim(line, "| \n"), "|"); strings.HasPrefix(line, "| `") {
			for i := range cells {
				cells[i] = strings.ReplaceAll(strings.TrimSpace(cells[i]), "`", "")
			}
			rows = append(rows, cells)
		}
	}
	return rows
}

// column is one column of a table, in order; several names in a cell stand between commas.
func column(rows [][]string, i int) (all []string) {
	for _, r := range rows {
		for name := range strings.SplitSeq(r[i], ", ") {
			all = append(all, name)
		}
	}
	slices.Sort(all)
	return all
}

// wantedKeys lists the configuration's keys of which wanted says so, as they are written, lists without their brackets.
func wantedKeys(t reflect.Type, at string, wanted func(key string, t reflect.Type) bool) (all []string) {
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice:
		return wantedKeys(t.Elem(), at, wanted)
	case reflect.Struct:
		for _, f := range fieldsOf(reflect.New(t).Elem()) {
			path := join(at, f.key)
			if wanted(f.key, f.value.Type()) {
				all = append(all, path)
			} else {
				all = append(all, wantedKeys(f.value.Type(), path, wanted)...)
			}
		}
	}
	slices.Sort(all)
	return all
}

func sameList(t *testing.T, what string, have, listed []string) {
	t.Helper()
	if !slices.Equal(have, listed) {
		t.Errorf("%s:\nthere are          %s\nSECURITY.md lists  %s", what, strings.Join(have, ", "), strings.Join(listed, ", "))
	}
}

// What SECURITY.md says can be reached is all that can be: by the configuration, and by where the program listens.
func TestSecurityListsTheListeners(t *testing.T) {
	rows := securityRows(t, "Listeners")
	keys := append(wantedKeys(reflect.TypeFor[config](), "", func(key string, _ reflect.Type) bool { return key == "listen" }), "control", "demo")
	slices.Sort(keys)
	sameList(t, "keys of listeners", keys, slices.Compact(column(rows, 0)))
	var files []string
	for _, room := range []string{"cmd", "exporter", "sensors", "thresholds", "hardware", "dashboards"} {
		err := filepath.WalkDir(filepath.Join("../..", room), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || strings.HasSuffix(filepath.Base(filepath.Dir(path)), "test") {
				return err
			}
			listens, err := listensIn(path)
			if listens {
				files = append(files, strings.TrimPrefix(filepath.ToSlash(path), "../../"))
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	slices.Sort(files)
	sameList(t, "files that listen", files, column(rows, 1))
}

// listening is what opens a door, by the names of package net and of other packages' servers.
var listening = regexp.MustCompile(`^(Listen|ListenConfig|ListenUnix|ListenTCP|ListenUDP|ListenPacket|ListenUnixgram|ListenMulticastUDP|ListenAndServe|ListenAndServeTLS)$`)

func listensIn(path string) (yes bool, err error) {
	tree, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
	if err != nil {
		return false, err
	}
	ast.Inspect(tree, func(n ast.Node) bool {
		if s, ok := n.(*ast.SelectorExpr); ok {
			p, ok := s.X.(*ast.Ident)
			yes = yes || ok && (p.Name == "net" || p.Name == "http" || p.Name == "tls") && listening.MatchString(s.Sel.Name)
		}
		return true
	})
	return yes, nil
}

// Every key that holds a secret, or names the file of one, is listed.
func TestSecurityListsTheSecrets(t *testing.T) {
	secret := reflect.TypeFor[exporter.Secret]()
	keys := wantedKeys(reflect.TypeFor[config](), "", func(key string, kind reflect.Type) bool {
		return kind == secret || kind.Kind() == reflect.Map && kind.Elem() == secret || kind.Kind() == reflect.String && strings.HasSuffix(key, fileKey) && certificateKeys[key] == ""
	})
	if len(keys) < 10 {
		t.Fatalf("only %q were found", keys)
	}
	sameList(t, "keys of secrets", keys, column(securityRows(t, "Secrets"), 0))
}

// filesAsListed compares what a daemon under the unit's mask has in its folder with the table, of which some may be absent.
func filesAsListed(t *testing.T, folder string, absent ...string) {
	t.Helper()
	rows := securityRows(t, "Files")
	modes := map[string]string{}
	for _, r := range rows {
		for name := range strings.SplitSeq(r[0], ", ") {
			modes[name] = r[1]
		}
	}
	var found []string
	err := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || path == folder {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		name := d.Name()
		found = append(found, name)
		want, listed := modes[name]
		for pattern, mode := range modes {
			if fits, _ := filepath.Match(pattern, name); fits {
				want, listed = mode, true
			}
		}
		if got := fmt.Sprintf("%04o", info.Mode().Perm()); !listed || got != want {
			t.Errorf("%s has the mode %s; SECURITY.md lists %q", name, got, want)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for name := range modes {
		if !slices.Contains(found, name) && !slices.Contains(absent, name) && !strings.Contains(name, "*") {
			t.Errorf("SECURITY.md lists %s, which no daemon wrote: only %q", name, found)
		}
	}
}
