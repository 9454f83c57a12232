// Command barn runs the real daemon for the browser test, on an invented board whose probes are files: it builds a folder with a
// configuration, a password, a litter book and readings of the past, executes the program in NESTMON, and prints the page's address. Then it
// obeys the words it reads from standard input, one a line: "PROBE 41.5" makes a probe warm, "PROBE off" silent; stop ends it.
//
//	barn [-nests 4] [-days 40] [-fine 7]
//
// Nest n1 holds kits of day 3, n2 of day 12, n3 waits for hers, the others are empty. The page's password is willow-7741.
package main

import (
	"bufio"
	"flag"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// passwordLine is of the invented password willow-7741, of the lowest cost.
const passwordLine = "$2a$04$75K5oQdDChM.WRMK4URCaOPfAYjX/IW/wJiNeNWYtMN39UBkZzeHS\n"

func main() {
	b := barn{}
	flag.IntVar(&b.nests, "nests", 4, "how many `nests`")
	flag.IntVar(&b.days, "days", 40, "`days` of readings before today, one an hour")
	flag.IntVar(&b.fine, "fine", 7, "of them the newest `days` with a reading every half minute")
	flag.Parse()
	if err := b.run(); err != nil {
		fmt.Fprintln(os.Stderr, "barn:", err)
		os.Exit(1)
	}
}

type barn struct {
	nests, days, fine int
	dir               string
	began             time.Time
}

// probes are the ids of all probes, in the order of their numbers.
func (b *barn) probes() []string {
	ids := []string{"outside"}
	for n := range b.nests {
		ids = append(ids, fmt.Sprintf("n%d-air", n+1), fmt.Sprintf("n%d-cluster", n+1))
	}
	return ids
}

func rom(i int) string { return fmt.Sprintf("28-%012x", 0x0316a2790000+i) }

func (b *barn) config() string {
	var s strings.Builder
	fmt.Fprintf(&s, "data: %s\npoll: 5s\nsite: {name: Juniper Gulch, timezone: America/Denver, display: fahrenheit}\n", b.dir)
	fmt.Fprintf(&s, "publish: {page: {listen: '127.0.0.1:0', password_file: %s}}\nprobes:\n", filepath.Join(b.dir, "page.password"))
	for i, id := range b.probes() {
		fmt.Fprintf(&s, "  - {id: %s, source: w1, rom: %s}\n", id, rom(i))
	}
	s.WriteString("outside: outside\nnests:\n")
	for n := range b.nests {
		fmt.Fprintf(&s, "  - {id: n%[1]d, kind: %[2]s, air: n%[1]d-air, cluster: [n%[1]d-cluster]}\n", n+1, []string{"wooden-box", "buried-tote", "metal-box"}[n%3])
	}
	return s.String()
}

func (b *barn) run() (err error) {
	program := os.Getenv("NESTMON")
	if program == "" {
		return fmt.Errorf("NESTMON names no program; build one with go build ./cmd/nestmon")
	}
	b.began = time.Now()
	if b.dir, err = os.MkdirTemp("", "nestmon-barn-"); err != nil {
		return err
	}
	defer os.RemoveAll(b.dir)
	for name, text := range map[string]string{"nestmon.yaml": b.config(), "page.password": passwordLine} {
		if err := os.WriteFile(filepath.Join(b.dir, name), []byte(text), 0o600); err != nil {
			return err
		}
	}
	if err := b.wire(); err != nil {
		return err
	}
	if err := b.past(); err != nil {
		return fmt.Errorf("writing the past: %w", err)
	}
	daemon := exec.Command(program, "run", "--config", filepath.Join(b.dir, "nestmon.yaml"), "--root", b.dir)
	log, err := daemon.StderrPipe()
	if err != nil {
		return err
	}
	daemon.Stdout = os.Stderr
	if err := daemon.Start(); err != nil {
		return err
	}
	go func() {
		for lines := bufio.NewScanner(log); lines.Scan(); {
			if _, address, found := strings.Cut(lines.Text(), "serving the page"); found {
				_, address, _ = strings.Cut(address, "address=")
				fmt.Printf("http://%s/\n", strings.Fields(address)[0])
			} else if os.Getenv("NESTMON_LOG") != "" {
				fmt.Fprintln(os.Stderr, lines.Text())
			}
		}
	}()
	for lines := bufio.NewScanner(os.Stdin); lines.Scan() && lines.Text() != "stop"; {
		if err := b.obey(lines.Text()); err != nil {
			slog.Error("not understood", "line", lines.Text(), "err", err)
		}
	}
	_ = daemon.Process.Signal(syscall.SIGTERM)
	return daemon.Wait()
}

func (b *barn) obey(line string) error {
	id, value, _ := strings.Cut(line, " ")
	for i, have := range b.probes() {
		if have != id {
			continue
		}
		if value == "off" {
			return os.Remove(b.slave(i))
		}
		c, err := strconv.ParseFloat(value, 64)
		if err != nil {
			return err
		}
		return b.warm(i, c)
	}
	return fmt.Errorf("there is no probe %q", id)
}
