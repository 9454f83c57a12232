package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"time"
)

var checkCommand = command{
	name:  "check",
	short: "read a configuration, say what is wrong and what would be watched",
	run:   check,
}

const checkUsage = `check [--connect] [--config FILE] [--json]
  asks before anything runs: what the configuration means, and whether this machine has what it needs. 'nestmon doctor' asks that too, and what runs.`

func check(ctx context.Context, args []string, std stdio) int {
	fs := flags("check", checkUsage, std)
	file := fs.String("config", installedConfig, "the configuration `file`")
	root := fs.String("root", "/", "`folder` below which the kernel shows its devices in sys/")
	connect := fs.Bool("connect", false, "ask the MQTT broker and the mail server too whether they let nestmon in, and InfluxDB whether it would take readings; nothing is sent")
	asJSON := fs.Bool("json", false, "print one JSON value")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	c, findings, err := loadConfig(*file)
	if err != nil {
		fmt.Fprintf(std.err, "nestmon check: %v\n", err)
		return exitWrongUse
	}
	r := report{file: *file, findings: findings}
	if !anyError(findings) {
		applied, notes, err := c.takeOffsets(*root, time.Now())
		if err != nil {
			notes = append(notes, err.Error())
		}
		r.findings = append(c.wireFindings(*root, findings), c.inPlainSight(*file)...)
		aside, err := c.takeLimits()
		if err != nil {
			aside = append(aside, err.Error())
		}
		notes = append(notes, aside...)
		r.plan = append(planOf(c), c.wirePlan(*root)...)
		for _, a := range applied {
			r.plan = append(r.plan, planLine{"offset", a.String()})
		}
		if os.Geteuid() == 0 {
			r.plan = append(r.plan, planLine{"note", "root may read and write everything, the daemon may not; ask as its user: sudo -u nestmon nestmon check"})
		}
		if r.machine, err = lookAround(*root, c); err != nil {
			fmt.Fprintf(std.err, "nestmon check: %v\n", err)
			return exitWrongUse
		}
		r.machine = append(r.machine, notes...)
		if *connect {
			works, lacks := reach(ctx, c)
			r.plan, r.machine = append(r.plan, works...), append(r.machine, lacks...)
		}
		r.doubts = doubts(ctx, c)
	}
	if *asJSON {
		err = r.writeJSON(std.out)
	} else {
		writeFindings(std.err, *file, r.findings)
		err = r.write(std.out)
	}
	if err != nil {
		fmt.Fprintf(std.err, "nestmon check: writing: %v\n", err)
		return exitWrongUse
	}
	return r.exit()
}

// report is all that check has to say.
type report struct {
	file     string
	findings []finding
	plan     []planLine // what would be watched, empty when the configuration is unusable
	machine  []string   // what this machine lacks
	doubts   []string   // what the running daemon's probes show of themselves
}

func (r report) exit() int {
	switch {
	case anyError(r.findings):
		return exitWrongUse
	case len(r.findings)+len(r.machine)+len(r.doubts) > 0:
		return exitFinding
	}
	return exitDone
}

func (r report) write(w io.Writer) error {
	plan := r.plan
	if len(plan) > 0 {
		plan = append([]planLine{{"program", "nestmon " + version()}}, plan...)
	}
	for _, line := range plan {
		if _, err := fmt.Fprintf(w, "%-9s %s\n", line.Topic, line.Text); err != nil {
			return err
		}
	}
	for _, lack := range r.machine {
		if _, err := fmt.Fprintf(w, "%-9s %s\n", "missing", lack); err != nil {
			return err
		}
	}
	for _, doubt := range r.doubts {
		if _, err := fmt.Fprintf(w, "%-9s %s\n", "doubtful", doubt); err != nil {
			return err
		}
	}
	return nil
}

func (r report) writeJSON(w io.Writer) error {
	type findingJSON struct {
		Line     int      `json:"line"`
		Column   int      `json:"column"`
		Severity severity `json:"severity"`
		Text     string   `json:"text"`
	}
	out := struct {
		File     string        `json:"file"`
		Version  string        `json:"version"`
		Findings []findingJSON `json:"findings"`
		Watched  []planLine    `json:"watched"`
		Missing  []string      `json:"missing"`
		Doubtful []string      `json:"doubtful"`
	}{r.file, version(), []findingJSON{}, append([]planLine{}, r.plan...), append([]string{}, r.machine...), append([]string{}, r.doubts...)}
	for _, f := range r.findings {
		out.Findings = append(out.Findings, findingJSON{f.line, f.col, f.severity, f.text})
	}
	return json.NewEncoder(w).Encode(out)
}
