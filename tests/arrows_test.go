package tests

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// source is one parsed Go file.
type source struct {
	file string // slash path from the root
	pkg  string // folder of its package, such as thresholds/nest
	test bool
	tree *ast.File
}

// sources parses every Go file under root. It does not ask the go command: the test cache would not notice a new file.
func sources(root string) ([]source, error) {
	var all []source
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := d.Name()
		if d.IsDir() && file != root && (name == "testdata" || strings.HasPrefix(name, ".") || strings.HasPrefix(name, "_")) {
			return fs.SkipDir
		}
		if d.IsDir() || filepath.Ext(name) != ".go" {
			return nil
		}
		rel, err := filepath.Rel(root, file)
		if err != nil {
			return err
		}
		tree, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		all = append(all, source{rel, path.Dir(rel), strings.HasSuffix(name, "_test.go"), tree})
		return nil
	})
	return all, err
}

const module = "nestmon/"

// rooms says which of our packages each room may import. A pattern that ends in /... covers all below it too.
var rooms = []struct {
	room    string
	imports []string
}{
	{"cmd", []string{"exporter/...", "sensors/...", "thresholds/...", "dashboards", "hardware"}},
	{"exporter", []string{"exporter", "sensors", "thresholds/..."}},
	{"sensors", []string{"sensors"}},
	{"thresholds", []string{"sensors", "thresholds/..."}},
	{"dashboards", nil},
	{"hardware", nil},
	{"tests", []string{"cmd/...", "exporter/...", "sensors/...", "thresholds/...", "dashboards/...", "tests/..."}},
}

// also lists what single packages may import beyond their room.
var also = map[string][]string{
	"exporter/web":     {"dashboards", "exporter/webconfig"}, // the page's files are embedded there; TLS and passwords as at every address of ours
	"exporter/metrics": {"exporter/webconfig"},
	"exporter/query":   {"exporter/archive", "exporter/metrics"}, // it reads the one in the words of the other
	"exporter/backup":  {"exporter/archive"},                     // it packs the archive, and proves what it packed by opening it
	"sensors/w1":       {"sensors/ds18b20"},                      // two ways to one chip, and one judge of its bytes
	"sensors/onewire":  {"sensors/ds18b20"},
	"sensors/offsets":  {"sensors/ds18b20"}, // a number of its own is the same probe by either way
	"sensors/radio":    {"sensors/broker"},  // who hears probes over a broker reaches it as who publishes to one
	"exporter/mqtt":    {"sensors/broker"},
}

// kin are packages that those beside them may import: what the chips of one bus have in common.
var kin = []string{"sensors/i2c/chip"}

// foreign lists the modules a room may use; a room that is not listed may use any.
var foreign = map[string][]string{
	"thresholds": nil,
	"sensors":    {"periph.io/x/"},
}

// alsoForeign lists the modules single packages may use beyond those of their room.
var alsoForeign = map[string][]string{
	"thresholds/survival": {"gonum.org/v1/gonum/mathext"},          // functions of numbers and nothing else: the incomplete beta, which is not for us to write
	"sensors/radio":       {"github.com/eclipse/paho.mqtt.golang"}, // probes that arrive over MQTT
	"sensors/broker":      {"github.com/eclipse/paho.mqtt.golang"}, // the reasons for which a broker refuses
}

// noIO are the packages of the standard library that the decisions must not touch.
var noIO = []string{"os", "net", "syscall", "io/fs", "io/ioutil", "database/sql", "log", "embed", "plugin", "runtime"}

// clock are the names of package time that ask the wall clock or wait for it.
var clock = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker"}

// violations lists every arrow that points the wrong way.
func violations(all []source) []string {
	var out []string
	for _, s := range all {
		room, _, _ := strings.Cut(s.pkg, "/")
		for _, spec := range s.tree.Imports {
			target, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				out = append(out, fmt.Sprintf("%s: %v", s.file, err))
				continue
			}
			if why := forbidden(s, room, target); why != "" {
				out = append(out, fmt.Sprintf("%s imports %s: %s", s.file, target, why))
			}
		}
		if room == "thresholds" && !s.test {
			out = append(out, impure(s)...)
		}
	}
	slices.Sort(out)
	return out
}

// forbidden says why a file may not import target, or nothing.
func forbidden(s source, room, target string) string {
	ours, isOurs := strings.CutPrefix(target, module)
	first, _, _ := strings.Cut(target, "/")
	switch {
	case isOurs:
		return forbiddenOurs(s, room, ours)
	case strings.Contains(first, "."):
		allowed, limited := foreign[room]
		allowed = append(slices.Clone(allowed), alsoForeign[s.pkg]...)
		if limited && !slices.ContainsFunc(allowed, func(p string) bool { return strings.HasPrefix(target, p) }) {
			return room + " does without this module"
		}
	case room == "thresholds" && !s.test && slices.ContainsFunc(noIO, func(p string) bool { return under(target, p) }):
		return "the decisions do no I/O"
	case room == "sensors" && target == "os/exec":
		return "no child processes"
	}
	return ""
}

func forbiddenOurs(s source, room, ours string) string {
	if s.test && (under(ours, s.pkg) || suite(ours) && (under(s.pkg, path.Dir(ours)) || room == "cmd")) {
		return "" // a package's tests use the package, what is its own, and the suites of the folders it is in
	}
	if slices.Contains(kin, ours) && path.Dir(ours) == path.Dir(s.pkg) {
		return ""
	}
	if suite(ours) && room != "tests" {
		return "a conformance suite is for tests only"
	}
	if under(ours, s.pkg) { // a package and what is its own, such as exporter/mqtt/demobroker
		return ""
	}
	for _, r := range rooms {
		if r.room != room {
			continue
		}
		if slices.ContainsFunc(append(slices.Clone(r.imports), also[s.pkg]...), func(p string) bool { return matches(ours, p) }) {
			return ""
		}
		return fmt.Sprintf("%s may import only %s", s.pkg, strings.Join(append(slices.Clone(r.imports), also[s.pkg]...), ", "))
	}
	return "the room " + room + " is not in the table of rooms"
}

// suite reports whether a package is a conformance suite.
func suite(pkg string) bool { return strings.Contains(pkg, "/") && strings.HasSuffix(pkg, "test") }

func under(pkg, top string) bool { return pkg == top || strings.HasPrefix(pkg, top+"/") }

func matches(pkg, pattern string) bool {
	if top, deep := strings.CutSuffix(pattern, "/..."); deep {
		return under(pkg, top)
	}
	return pkg == pattern
}

// impure finds goroutines, and uses of the wall clock, in a file of the decisions.
func impure(s source) []string {
	clockName := ""
	for _, spec := range s.tree.Imports {
		if spec.Path.Value == `"time"` {
			clockName = "time"
			if spec.Name != nil {
				clockName = spec.Name.Name
			}
		}
	}
	var out []string
	if clockName == "." {
		out = append(out, s.file+" imports time without its name: write it")
	}
	ast.Inspect(s.tree, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			out = append(out, s.file+" starts a goroutine: the decisions have none")
		case *ast.SelectorExpr:
			if id, ok := n.X.(*ast.Ident); ok && id.Name == clockName && slices.Contains(clock, n.Sel.Name) {
				out = append(out, fmt.Sprintf("%s uses time.%s: time arrives with the reading", s.file, n.Sel.Name))
			}
		}
		return true
	})
	return out
}

// undocumented lists the packages without a doc comment that begins as it should.
func undocumented(all []source) []string {
	documented := map[string]bool{}
	for _, s := range all {
		begin := "Package " + s.tree.Name.Name + " "
		if s.tree.Name.Name == "main" {
			begin = "Command " + path.Base(s.pkg) + " "
		}
		documented[s.pkg] = documented[s.pkg] || strings.HasPrefix(s.tree.Doc.Text(), begin)
	}
	var out []string
	for pkg, ok := range documented {
		if !ok {
			out = append(out, pkg)
		}
	}
	slices.Sort(out)
	return out
}
