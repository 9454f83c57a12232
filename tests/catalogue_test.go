package tests

import (
	"fmt"
	"go/ast"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// noKinds are the folders of sensors and exporter that hold neither a source nor a sink: the judges of readings and of a chip's bytes, how
// a broker is reached, what probes were measured to be wrong by, who was warmed in the hand, or lies in ice, the store the sinks read from, its backups,
// the calendar that the page carries, what graphing tools ask of it, who may read what is served, and what is told of a litter.
var noKinds = []string{
	"sensors/screen", "sensors/ds18b20", "sensors/broker", "sensors/offsets", "sensors/warmed", "sensors/icepoint", "exporter/archive", "exporter/backup", "exporter/ical", "exporter/webconfig", "exporter/report", "exporter/query",
}

// TestCatalogue compares the folders with the lines of the catalogue, and those with a finder with the lines that have one.
func TestCatalogue(t *testing.T) {
	all := parsed(t, root)
	searched, err := catalogued(all, "sourceKinds", finds)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range mismatches(finders(all), searched) {
		t.Errorf("folders of sensors with a sensors.Finder, and lines of sourceKinds with a finder: %s", m)
	}
	for _, room := range []struct{ folder, table string }{{"sensors", "sourceKinds"}, {"exporter", "sinkKinds"}} {
		lines, err := catalogued(all, room.table, func(ast.Expr) bool { return true })
		if err != nil {
			t.Fatal(err)
		}
		folders, err := kindFolders(filepath.Join(root, room.folder), room.folder)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range mismatches(folders, lines) {
			t.Errorf("%s and %s of cmd/nestmon/catalogue.go: %s", room.folder, room.table, m)
		}
	}
}

// finds reports whether a line of the catalogue says how its buses are searched.
func finds(line ast.Expr) (yes bool) {
	ast.Inspect(line, func(n ast.Node) bool {
		if lit, ok := n.(*ast.CompositeLit); ok && len(lit.Elts) > 0 {
			is, _ := lit.Type.(*ast.Ident)
			yes = yes || is != nil && is.Name == "finder"
		}
		return true
	})
	return yes
}

// finders lists the folders of sensors that declare something to be a sensors.Finder.
func finders(all []source) (folders []string) {
	for _, s := range all {
		for _, d := range s.tree.Decls {
			list, ok := d.(*ast.GenDecl)
			if !ok || s.test {
				continue
			}
			for _, spec := range list.Specs {
				v, ok := spec.(*ast.ValueSpec)
				if !ok {
					continue
				}
				if is, ok := v.Type.(*ast.SelectorExpr); ok && is.Sel.Name == "Finder" && filepath.Dir(s.pkg) == "sensors" {
					folders = append(folders, filepath.Base(s.pkg))
				}
			}
		}
	}
	return folders
}

// catalogued returns the first string of every line of a table that is wanted.
func catalogued(all []source, table string, wanted func(line ast.Expr) bool) ([]string, error) {
	var names []string
	for _, s := range all {
		if s.file != "cmd/nestmon/catalogue.go" {
			continue
		}
		ast.Inspect(s.tree, func(n ast.Node) bool {
			v, ok := n.(*ast.ValueSpec)
			if !ok || v.Names[0].Name != table || len(v.Values) != 1 {
				return true
			}
			if list, ok := v.Values[0].(*ast.CompositeLit); ok {
				for _, line := range list.Elts {
					if wanted(line) {
						names = append(names, firstString(line))
					}
				}
			}
			return false
		})
	}
	if len(names) == 0 {
		return nil, fmt.Errorf("no lines found in %s", table)
	}
	return names, nil
}

func firstString(n ast.Node) (text string) {
	ast.Inspect(n, func(n ast.Node) bool {
		if lit, ok := n.(*ast.BasicLit); ok && text == "" {
			text, _ = strconv.Unquote(lit.Value)
		}
		return text == ""
	})
	return text
}

// kindFolders lists the folders with Go files below dir that should be in the catalogue.
func kindFolders(dir, room string) ([]string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, e := range entries {
		pkg := room + "/" + e.Name()
		if !e.IsDir() || suite(pkg) || e.Name() == "testdata" || slices.Contains(noKinds, pkg) {
			continue
		}
		files, err := filepath.Glob(filepath.Join(dir, e.Name(), "*.go"))
		if err != nil {
			return nil, err
		}
		if len(files) > 0 {
			out = append(out, e.Name())
		}
	}
	return out, nil
}

func mismatches(folders, lines []string) []string {
	var out []string
	for _, f := range folders {
		if !slices.Contains(lines, f) {
			out = append(out, "the folder "+f+" has no line")
		}
	}
	for i, l := range lines {
		if !slices.Contains(folders, l) {
			out = append(out, "the line "+l+" has no folder")
		}
		if slices.Contains(lines[:i], l) {
			out = append(out, "the line "+l+" is there twice")
		}
	}
	return out
}

func TestPlantedMismatches(t *testing.T) {
	for _, row := range []struct {
		name           string
		folders, lines []string
		want           string
	}{
		{"all is well", []string{"w1", "kernel"}, []string{"kernel", "w1"}, ""},
		{"a folder too many", []string{"w1", "kernel"}, []string{"w1"}, "the folder kernel has no line"},
		{"a line too many", []string{"w1"}, []string{"w1", "kernel"}, "the line kernel has no folder"},
		{"a line twice", []string{"w1"}, []string{"w1", "w1"}, "the line w1 is there twice"},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got := strings.Join(mismatches(row.folders, row.lines), "; "); got != row.want {
				t.Errorf("got %q, want %q", got, row.want)
			}
		})
	}
}
