package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// guideCommand is a command as the guide writes it, in a block or in a line of text.
var guideCommand = regexp.MustCompile("(?m)(?:^ {4,}|`|sudo -u nestmon )nestmon ([a-z]+)")

func guidePages(t *testing.T) []string {
	t.Helper()
	pages, err := filepath.Glob("../../hardware/*.md")
	if err != nil || len(pages) < 5 {
		t.Fatalf("only %q, %v", pages, err)
	}
	return append(pages, "../../README.md", "../../dashboards/prometheus/README.md")
}

// TestGuideConfigurations reads every block of configuration in the guide as the daemon would. One that is whole has to be
// without a word of blame; of a part only what is missing round it may be said.
func TestGuideConfigurations(t *testing.T) {
	read := 0
	for _, page := range guidePages(t) {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, block := range yamlBlocks(string(text)) {
			read++
			t.Run(fmt.Sprintf("%s:%d", filepath.Base(page), block.line), func(t *testing.T) {
				_, findings := parseConfig([]byte(block.text), writtenBy)
				whole := strings.Contains(block.text, "\noutside:")
				findings = slices.DeleteFunc(findings, func(f finding) bool { return f.severity == isWarning && !whole })
				var said bytes.Buffer
				writeFindings(&said, "block", findings)
				if said.Len() > 0 {
					t.Errorf("\n%s", said.String())
				}
			})
		}
	}
	if read < 10 {
		t.Errorf("only %d blocks were found", read)
	}
}

// yamlBlock is a block of configuration and the line it begins in.
type yamlBlock struct {
	line int
	text string
}

func yamlBlocks(page string) []yamlBlock {
	var out []yamlBlock
	var lines []string
	begun := 0
	for i, line := range strings.Split(page, "\n") {
		switch {
		case line == "```yaml":
			begun, lines = i+2, nil
		case begun > 0 && line == "```":
			out = append(out, yamlBlock{begun, strings.Join(lines, "\n") + "\n"})
			begun = 0
		case begun > 0:
			lines = append(lines, line)
		}
	}
	return out
}

func TestYamlBlocks(t *testing.T) {
	got := yamlBlocks("a\n```yaml\npoll: 30s\n```\n```\nls\n```\n```yaml\ndata: x\npoll: 1m\n```\n")
	want := []yamlBlock{{3, "poll: 30s\n"}, {9, "data: x\npoll: 1m\n"}}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// TestGuideCommands: the guide names no command that does not exist.
func TestGuideCommands(t *testing.T) {
	known := []string{"help"}
	for _, c := range commands {
		known = append(known, c.name)
	}
	named := 0
	for _, page := range guidePages(t) {
		text, err := os.ReadFile(page)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range guideCommand.FindAllStringSubmatch(string(text), -1) {
			named++
			if !slices.Contains(known, m[1]) {
				t.Errorf("%s: there is no `nestmon %s`", page, m[1])
			}
		}
	}
	if named < 10 {
		t.Errorf("only %d commands were found", named)
	}
}
