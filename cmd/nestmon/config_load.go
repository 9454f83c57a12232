package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"reflect"
	"slices"
	"time"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/parser"
)

// severity says whether a finding keeps the daemon from starting.
type severity string

// The severities of a finding.
const (
	isError   severity = "error"
	isWarning severity = "warning"
)

// finding is one thing to say about a configuration file.
type finding struct {
	line, col int
	severity  severity
	text      string
}

// write prints findings as FILE:LINE:COL, which editors can jump to.
func writeFindings(w io.Writer, file string, findings []finding) {
	for _, f := range findings {
		mark := ""
		if f.severity == isWarning {
			mark = "warning: "
		}
		fmt.Fprintf(w, "%s:%d:%d: %s%s\n", file, f.line, f.col, mark, f.text)
	}
}

func anyError(findings []finding) bool {
	return slices.ContainsFunc(findings, func(f finding) bool { return f.severity == isError })
}

// installedConfig is where the configuration of an installed daemon lies, and where it is looked for when no flag names another.
const installedConfig = "/etc/nestmon/nestmon.yaml"

// openConfig reads file for a command that needs it right: it prints its errors, and ok is false when there are any. Warnings are
// for check and for the daemon's log.
func openConfig(command, file string, std stdio) (c *config, ok bool) {
	c, findings, err := loadConfig(file)
	if err != nil {
		fmt.Fprintf(std.err, "nestmon %s: %v\n", command, err)
		return nil, false
	}
	findings = slices.DeleteFunc(findings, func(f finding) bool { return f.severity == isWarning })
	writeFindings(std.err, file, findings)
	return c, len(findings) == 0
}

// loadConfig reads a configuration file. Everything that is wrong with its content is a finding, in the order of the file;
// the configuration may be used only when none of them is an error. err is about the file itself.
func loadConfig(file string) (*config, []finding, error) {
	text, err := os.ReadFile(file)
	switch {
	case file == "":
		return nil, nil, errors.New("--config is empty; write the configuration file's path after it")
	case errors.Is(err, fs.ErrNotExist) && file == installedConfig:
		return nil, nil, fmt.Errorf("%s: there is no such file; copy the shipped example.yaml there and change it, or name another with --config", file)
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil, fmt.Errorf("%s: there is no such file; copy the shipped example.yaml there and change it", file)
	case err != nil:
		return nil, nil, unreadable(err)
	}
	c, findings := parseConfig(text, time.Now())
	return c, findings, nil
}

// unreadable says what to do about a file of ours that whoever asks may not read.
func unreadable(err error) error {
	return fmt.Errorf("%w; the user nestmon must be able to read it, and so must you: sudo usermod -aG nestmon YOU, then log in anew", err)
}

// parseConfig reads a configuration's text; now is what no comparison can be later than.
func parseConfig(text []byte, now time.Time) (*config, []finding) {
	c, d := defaultConfig(), newDecoder()
	d.now = now
	tree, err := parser.ParseBytes(text, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		return c, []finding{notYAML(err)}
	}
	switch {
	case len(tree.Docs) == 0 || tree.Docs[0].Body == nil:
		d.fail("", "the file is empty; write at least probes and nests")
	case len(tree.Docs) > 1:
		d.failAt(spotOfToken(tree.Docs[1].Start), "", "a second document begins here; keep one document in one file")
	default:
		d.decode(tree.Docs[0].Body, reflect.ValueOf(c).Elem(), "")
		c.Publish.drop(func(path string) bool { _, ok := d.at[path]; return ok })
		c.settle()
		c.validate(d)
		c.written, c.environ, c.at = d.written, d.environ, d.at
	}
	slices.SortStableFunc(d.found, func(a, b finding) int {
		return cmp.Or(a.line-b.line, a.col-b.col, cmp.Compare(a.text, b.text))
	})
	return c, d.found
}

// notYAML takes the parser's message without its excerpt of the file, which may hold a password.
func notYAML(err error) finding {
	f := finding{line: 1, col: 1, severity: isError, text: "not YAML"}
	if at, ok := errors.AsType[yaml.Error](err); ok {
		p := spotOfToken(at.GetToken())
		f.line, f.col = p.line, p.col
		f.text = "not YAML: " + at.GetMessage() + "; look at the quotes, brackets and indentation here and in the line above"
	}
	return f
}
