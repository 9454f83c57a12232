package main

import (
	"context"
	"errors"
	"io/fs"
	"strings"
)

// examineConfiguration is what check says of the configuration's text, and of what was set beside it.
func examineConfiguration(_ context.Context, p *patient) (found []sign) {
	all := append(p.cfg.wireFindings(p.root, p.findings), p.cfg.inPlainSight(p.file)...)
	for _, f := range all {
		v := look
		if f.severity == isError {
			v = failed
		}
		found = append(found, fromCheck(v, f.text))
	}
	_, notes, err := p.cfg.takeOffsets(p.root, p.now)
	aside, limits := p.cfg.takeLimits()
	for _, err := range []error{err, limits} {
		switch {
		case err == nil:
		case errors.Is(err, fs.ErrPermission) && !p.able():
			found = append(found, blind(askAs, "what was set on the page, or measured of probes, is not for this user to read"))
		default:
			found = append(found, fromCheck(failed, err.Error()))
		}
	}
	for _, n := range append(notes, aside...) {
		found = append(found, fromCheck(look, n))
	}
	for _, line := range publishLines(p.cfg) { // what check says in capitals, and its advice
		switch line.Topic {
		case "NOBODY":
			v := look
			if line.Text == noChannel {
				v = failed
			}
			found = append(found, fromCheck(v, "nobody "+line.Text))
		case "note":
			text := line.Text
			if !strings.Contains(text, "; ") {
				text = strings.Replace(text, ": ", "; ", 1)
			}
			found = append(found, fromCheck(look, text))
		}
	}
	if len(found) == 0 {
		found = append(found, fine("%s can be used, and nothing in it is doubtful", p.file))
	}
	return found
}
