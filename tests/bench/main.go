// Command bench prints what nestmon costs: bytes written, memory, sizes and times, each beside something measured in the same
// run, so that the figures say something on any machine. Nothing here is a test, and nothing fails for being slow.
//
//	go run ./tests/bench [-only archive,graph,decide,state,replay,run,influx,mqtt,phone,size] [-polls 2880] [-rows 2000000]
package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// part is one thing to measure. program is a nestmon built for this machine, dir a folder of its own.
type part struct {
	name string
	run  func(w io.Writer, program, dir string) error
}

func main() {
	only := flag.String("only", "", "measure these `parts` alone, with commas between them")
	polls := flag.Int("polls", 2880, "`polls` of the archive's day; a day has 2880")
	rows := flag.Int("rows", 2_000_000, "`rows` of the replayed file")
	flag.Parse()
	parts := []part{
		{"archive", func(w io.Writer, _, _ string) error {
			return archiveWrites(w, *polls)
		}},
		{"graph", func(w io.Writer, _, _ string) error {
			if err := archiveGraph(w); err != nil {
				return err
			}
			return archiveYears(w)
		}},
		{"decide", decide},
		{"state", state},
		{"replay", func(w io.Writer, program, dir string) error { return replay(w, program, dir, *rows) }},
		{"run", run},
		{"influx", influxWeek},
		{"mqtt", alarmOverMQTT},
		{"phone", alarmToPhone},
		{"size", sizes},
	}
	if err := measure(os.Stdout, parts, *only); err != nil {
		fmt.Fprintf(os.Stderr, "bench: %v\n", err)
		os.Exit(1)
	}
}

func measure(w io.Writer, parts []part, only string) error {
	dir, err := os.MkdirTemp("", "nestmon-bench-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	program := filepath.Join(dir, "nestmon")
	if err := build(program, "", "", os.Environ()); err != nil {
		return err
	}
	for _, p := range parts {
		if only != "" && !strings.Contains(","+only+",", ","+p.name+",") {
			continue
		}
		fmt.Fprintf(w, "== %s\n", p.name)
		own := filepath.Join(dir, p.name)
		if err := os.Mkdir(own, 0o755); err != nil {
			return err
		}
		if err := p.run(w, program, own); err != nil {
			return fmt.Errorf("%s: %w", p.name, err)
		}
	}
	return nil
}

// build makes a stripped nestmon; an empty arch is this machine's.
func build(to, arch, arm string, env []string) error {
	c := exec.Command("go", "build", "-buildvcs=false", "-trimpath", "-ldflags", "-s -w", "-o", to, "nestmon/cmd/nestmon")
	c.Env = append(env, "CGO_ENABLED=0")
	if arch != "" {
		c.Env = append(c.Env, "GOARCH="+arch, "GOARM="+arm)
	}
	if out, err := c.CombinedOutput(); err != nil {
		return fmt.Errorf("building: %w\n%s", err, out)
	}
	return nil
}

// sizes prints the size of the program for every board.
func sizes(w io.Writer, _, dir string) error {
	for _, b := range []struct{ arch, arm string }{{"arm", "6"}, {"arm", "7"}, {"arm64", ""}, {"amd64", ""}} {
		file := filepath.Join(dir, "nestmon-"+b.arch+b.arm)
		if err := build(file, b.arch, b.arm, append(os.Environ(), "GOOS=linux")); err != nil {
			return err
		}
		info, err := os.Stat(file)
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "linux/%s %s: %.1f MB stripped\n", b.arch, b.arm, float64(info.Size())/1e6)
	}
	return nil
}
