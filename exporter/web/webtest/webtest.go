// Package webtest lists the addresses of the page as they stand in the source of package web, so that a test over every address meets those
// that are added later too.
package webtest

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// beside are the files beside the page, whose names are worked out.
var beside = []string{"/sw.js", "/manifest.webmanifest"}

var (
	address = regexp.MustCompile(`^([A-Z]+ )?/`)
	hole    = regexp.MustCompile(`\{[^}]*\}`)
)

// fewest addresses that the search must find to be believed.
const fewest = 20

// Patterns lists them as http.ServeMux has them; folder is that of package web.
func Patterns(t testing.TB, folder string) (all []string) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(folder, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		tree, err := parser.ParseFile(token.NewFileSet(), file, text, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(tree, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.CallExpr: // mux.Handle("…", …)
				if f, ok := n.Fun.(*ast.SelectorExpr); ok && strings.HasPrefix(f.Sel.Name, "Handle") && len(n.Args) == 2 {
					all = add(all, n.Args[0])
				}
			case *ast.KeyValueExpr: // a line of a table
				all = add(all, n.Key)
			case *ast.ValueSpec: // an address with a name
				for _, v := range n.Values {
					all = add(all, v)
				}
			}
			return true
		})
	}
	if len(all) < fewest {
		t.Fatalf("only %d addresses found in %s: %q; the search looks for the wrong thing", len(all), folder, all)
	}
	return append(all, beside...)
}

func add(all []string, e ast.Expr) []string {
	if lit, ok := e.(*ast.BasicLit); ok && lit.Kind == token.STRING {
		if text, err := strconv.Unquote(lit.Value); err == nil && address.MatchString(text) {
			return append(all, text)
		}
	}
	return all
}

// Path is an address of a pattern: what is open in it is filled from values, by name, and else with 1.
func Path(pattern string, values map[string]string) string {
	_, path, found := strings.Cut(pattern, " ")
	if !found {
		path = pattern
	}
	return hole.ReplaceAllStringFunc(path, func(h string) string {
		name := strings.TrimSuffix(strings.Trim(h, "{}"), "...")
		switch value, ok := values[name]; {
		case name == "$":
			return ""
		case ok:
			return value
		}
		return "1"
	})
}
