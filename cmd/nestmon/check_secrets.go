package main

import (
	"net/url"
	"os"
	"strings"
)

// written is a secret that stands in the configuration file itself.
type written struct {
	at         spot
	path       string // as it is shown
	credential bool   // an address with user:password@
}

// plain notes a secret that is written into the file itself. A template holds none, and the name of an environment variable is none.
func (d *decoder) plain(path, text string) {
	if text == "" || inEnvironment.MatchString(text) || strings.Contains(text, "{{") {
		return
	}
	u, err := url.Parse(text)
	d.written = append(d.written, written{d.where(path), d.show(path), err == nil && u.User != nil && u.Host != ""})
}

// inPlainSight refuses secrets that others can read. Check alone does: after a power cut at 3 a.m. the daemon has to start all the same.
func (c *config) inPlainSight(file string) (found []finding) {
	info, err := os.Stat(file)
	open := err == nil && info.Mode().Perm()&0o004 != 0
	for _, w := range c.written {
		text := ""
		switch {
		case w.credential:
			text = "a name and a password stand in this address, in plain sight; write the address into a file and name it as url_file, or take it from the environment: ${NAME}"
		case open:
			text = "this secret is in plain sight: every user of this machine can read " + file + "; write it into a file of its own (..._file) or take it from the environment (${NAME}), or: sudo chmod 640 " + file
		default:
			continue
		}
		found = append(found, finding{w.at.line, w.at.col, isError, w.path + ": " + text})
	}
	return found
}
