// Command notices collects the licences of all that programs are linked with.
//
//	go run ./hardware/package/notices PROGRAM... > third-party
//
// The programs say themselves which modules are in them; the texts come from Go's module cache. A module without a licence, or with one
// that is not in the table, is refused: nobody has read yet what it asks for.
package main

import (
	"debug/buildinfo"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// licences has the words by which a licence is known, in the order of asking: what holds the words of two is the first.
var licences = []struct{ id, words string }{
	{"EPL-2.0", "Eclipse Public License - v 2.0"},
	{"MPL-2.0", "Mozilla Public License"},
	{"Apache-2.0", "Apache License"},
	{"BSD-3-Clause", "Neither the name"},
	{"BSD-3-Clause", "may not be used to endorse"},
	{"BSD-2-Clause", "Redistribution and use in source and binary forms"},
	{"MIT", "Permission is hereby granted, free of charge"},
	{"ISC", "Permission to use, copy, modify, and"},
	{"public domain", "public domain"},
}

// licenceFile is how files with a licence, or with what it wants told, are called.
var licenceFile = regexp.MustCompile(`(?i)^(licen[cs]e|copying|notice|patents|unlicense)([-._].*)?$`)

func main() {
	if err := write(os.Stdout, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "notices:", err)
		os.Exit(1)
	}
}

// module is a library and the texts it comes with.
type module struct {
	name, version string
	ids           []string
	texts         []string // by their number in the list of all
}

func write(out io.Writer, programs []string) error {
	if len(programs) == 0 {
		return errors.New("no program is named; write the files that were built")
	}
	versions := map[string]string{}
	for _, p := range programs {
		info, err := buildinfo.ReadFile(p)
		if err != nil {
			return fmt.Errorf("reading %s: %w; name a program built by Go", p, err)
		}
		for _, d := range info.Deps {
			versions[d.Path] = d.Version
		}
		versions["Go's standard library"] = info.GoVersion
	}
	folders, err := moduleFolders()
	if err != nil {
		return err
	}
	var all []module
	var texts []string
	for _, name := range slices.Sorted(maps.Keys(versions)) {
		m := module{name: name, version: versions[name]}
		if err := m.read(folders[name], &texts); err != nil {
			return fmt.Errorf("%s %s: %w", m.name, m.version, err)
		}
		all = append(all, m)
	}
	fmt.Fprintf(out, "nestmon is linked with these libraries. The numbers are those of the texts below, each of which stands here once.\n\n")
	for _, m := range all {
		fmt.Fprintf(out, "%-55s %-40s %-25s %s\n", m.name, m.version, strings.Join(m.ids, ", "), strings.Join(m.texts, " "))
	}
	for i, text := range texts {
		fmt.Fprintf(out, "\n%s\n[%d]\n\n%s\n", strings.Repeat("=", 80), i+1, strings.TrimSpace(text))
	}
	return nil
}

// moduleFolders says where each module of the build lies.
func moduleFolders() (map[string]string, error) {
	list, err := exec.Command("go", "list", "-m", "-f", "{{.Path}}\t{{.Dir}}", "all").Output()
	if err != nil {
		return nil, fmt.Errorf("asking go for the modules: %w; run it in the repository", err)
	}
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return nil, fmt.Errorf("asking go where it is: %w", err)
	}
	folders := map[string]string{"Go's standard library": strings.TrimSpace(string(root))}
	for line := range strings.Lines(string(list)) {
		name, dir, _ := strings.Cut(strings.TrimSpace(line), "\t")
		folders[name] = dir
	}
	return folders, nil
}

// read finds the texts of a module, and of what it has taken in from elsewhere.
func (m *module) read(folder string, texts *[]string) error {
	if folder == "" {
		return errors.New("its source is not here; run 'go mod download'")
	}
	err := filepath.WalkDir(folder, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if e.IsDir() {
			if path != folder && (slices.Contains([]string{"testdata", "vendor", "test", ".git"}, e.Name()) || m.name == "Go's standard library") {
				return fs.SkipDir
			}
			return nil
		}
		if !licenceFile.MatchString(e.Name()) || strings.HasSuffix(e.Name(), ".go") {
			return nil
		}
		body, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		m.take(string(body), texts)
		return nil
	})
	if err != nil {
		return err
	}
	if len(m.ids) == 0 {
		return errors.New("no licence that is known here is beside its source; read what it asks for, then add it to the table of hardware/package/notices")
	}
	return nil
}

func (m *module) take(text string, texts *[]string) {
	for _, l := range licences {
		if strings.Contains(strings.Join(strings.Fields(text), " "), l.words) {
			if !slices.Contains(m.ids, l.id) {
				m.ids = append(m.ids, l.id)
			}
			break
		}
	}
	at := slices.Index(*texts, text)
	if at < 0 {
		at, *texts = len(*texts), append(*texts, text)
	}
	if number := fmt.Sprintf("[%d]", at+1); !slices.Contains(m.texts, number) {
		m.texts = append(m.texts, number)
	}
}
