package main

import (
	"fmt"
	"strings"
)

// fail reports that the value at path could not be read.
func (d *decoder) fail(path, what string) { d.bad[path] = true; d.failAt(d.where(path), path, what) }

func (d *decoder) failAt(p spot, path, what string) { d.add(p, isError, path, what) }

func (d *decoder) add(p spot, s severity, path, what string) {
	text := what
	if path != "" {
		text = d.show(path) + ": " + what
	}
	d.found = append(d.found, finding{line: p.line, col: p.col, severity: s, text: text})
}

// where finds the place of path, or of the nearest block round it when the key itself is missing.
func (d *decoder) where(path string) spot {
	for ; path != ""; path = outer(path) {
		if p, ok := d.at[path]; ok {
			return p
		}
	}
	return spot{line: 1, col: 1}
}

// show writes a path with ids in place of numbers.
func (d *decoder) show(path string) string {
	for end := len(path); end > 0; end = strings.LastIndex(path[:end-1], "]") + 1 {
		if name, ok := d.names[path[:end]]; ok {
			return name + path[end:]
		}
	}
	return path
}

// wrong reports what a rule found at path, unless that only follows from what was reported before.
func (d *decoder) wrong(path, format string, args ...any) { d.judge(path, isError, format, args) }

// lost warns of something that may stand but costs a part of the watch.
func (d *decoder) lost(path, format string, args ...any) { d.judge(path, isWarning, format, args) }

func (d *decoder) judge(path string, s severity, format string, args []any) {
	if _, written := d.at[path]; d.vague[path] || d.vague[outer(path)] && !written {
		return
	}
	for p := path; ; p = outer(p) {
		if d.bad[p] {
			return
		}
		if p == "" {
			break
		}
	}
	d.add(d.where(path), s, path, fmt.Sprintf(format, args...))
}

// outer is the path of the block or list that holds path.
func outer(path string) string { return path[:max(strings.LastIndexAny(path, ".["), 0)] }

// under passes on the problems of a section that judges itself.
func (d *decoder) under(section string) func(path, problem string) {
	return func(path, problem string) { d.wrong(join(section, path), "%s", problem) }
}
