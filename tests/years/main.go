// Command years writes two years of an invented rabbitry of 30 nests into a real daemon by executing the real program for every entry, as its keeper
// would have to who enters two years after the fact. It prints how long each command takes beside the program's start-up in the same run, how the
// daemon's polls go meanwhile, what the book weighs, and whether it holds the truth. Nothing here is a test, and nothing fails for being slow.
//
//	go run ./tests/years [-days 731] [-marks 1] [-seed 1] [-dir folder] [-program nestmon] [-under qemu-arm-static]
//
// With -under the program is built for a board of ARMv6 and run under that emulator, daemon and commands: a rough stand-in for a slow board, nothing that
// was measured on one.
package main

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"nestmon/tests/years/yearstest"
)

func main() {
	var r rig
	days := flag.Int("days", 731, "`days` of the story")
	seed := flag.Uint64("seed", 1, "the story's `seed`")
	marks := flag.Float64("marks", 1, "`share` of the daily care that is marked as done")
	flag.StringVar(&r.program, "program", "", "a built `nestmon`; empty builds one")
	flag.StringVar(&r.under, "under", "", "`emulator` to run it under")
	flag.StringVar(&r.dir, "dir", "", "a new `folder` for all of it, which is kept")
	flag.Parse()
	if err := r.tell(yearstest.Tell(*seed, yearstest.Day(*days), true, *marks)); err != nil {
		fmt.Fprintf(os.Stderr, "years: %v\n", err)
		os.Exit(1)
	}
}

// zone is where the clocks are set forward at midnight.
const zone = "America/Santiago"

// rig is the program and how it is run.
type rig struct {
	program, under, dir string
	loc                 *time.Location
}

// tell builds, feeds and asks.
func (r *rig) tell(story *yearstest.Story) (err error) {
	if r.loc, err = time.LoadLocation(zone); err != nil {
		return err
	}
	if r.dir == "" {
		if r.dir, err = os.MkdirTemp("", "years-"); err != nil {
			return err
		}
		defer os.RemoveAll(r.dir)
	}
	if r.program == "" {
		if err := r.build(); err != nil {
			return err
		}
	}
	if err := r.measureHours(filepath.Join(r.dir, "a"), story); err != nil {
		return err
	}
	d, err := r.start(filepath.Join(r.dir, "a"), story)
	if err != nil {
		return err
	}
	defer d.end()
	fmt.Printf("%d days, %d entries in %d commands\n", story.Days, len(story.Entries), len(story.Steps))
	var help times
	took, err := r.feed(d, story, &help)
	if err != nil {
		return err
	}
	help.print("nestmon help")
	for _, word := range took.words() {
		took[word].print(word)
	}
	took.all().print("all that write")
	d.print()
	return r.ask(d, story)
}

func (r *rig) build() error {
	r.program = filepath.Join(r.dir, "nestmon")
	c := exec.Command("go", "build", "-buildvcs=false", "-trimpath", "-ldflags", "-s -w", "-o", r.program, "nestmon/cmd/nestmon")
	c.Env = append(os.Environ(), "CGO_ENABLED=0")
	if r.under != "" {
		c.Env = append(c.Env, "GOOS=linux", "GOARCH=arm", "GOARM=6")
	}
	if out, err := c.CombinedOutput(); err != nil {
		return fmt.Errorf("building: %w\n%s", err, out)
	}
	return nil
}

// command is the program with these arguments.
func (r *rig) command(args ...string) *exec.Cmd {
	if r.under == "" {
		return exec.Command(r.program, args...)
	}
	return exec.Command(r.under, append([]string{r.program}, args...)...)
}

// run runs the program to its end and notes how long that took.
func (r *rig) run(t *times, args ...string) (code int, text string, err error) {
	began := time.Now()
	out, err := r.command(args...).CombinedOutput()
	*t = append(*t, time.Since(began))
	if exit, ok := err.(*exec.ExitError); ok { //nolint:errorlint // exec wraps nothing
		return exit.ExitCode(), string(out), nil
	}
	return 0, string(out), err
}

// feed writes the whole story. Between, it asks for help now and then: that is the program's start-up, on the machine as loaded as it is then.
func (r *rig) feed(d *daemon, story *yearstest.Story, help *times) (byWord, error) {
	const helpEvery = 20 // steps
	took := byWord{}
	for i, step := range story.Steps {
		if i%helpEvery == 0 {
			if _, _, err := r.run(help, "help"); err != nil {
				return nil, err
			}
		}
		args := story.Command(step, r.loc)
		if args == nil {
			file := filepath.Join(r.dir, "rows.csv")
			if err := os.WriteFile(file, []byte(step.Rows()), 0o600); err != nil {
				return nil, err
			}
			args = []string{"litter", "import", file}
		}
		word := strings.Join(args[:2], " ")
		if step.Refused != "" {
			word = "refused"
			if step.Said[0].On > step.Day {
				continue // that future is past by now
			}
		}
		code, text, err := r.run(took.of(word), append(args, "--config", d.file)...)
		switch {
		case err != nil:
			return nil, err
		case step.Refused == "" && code != 0, step.Refused != "" && (code == 0 || !strings.Contains(text, step.Refused)):
			return nil, fmt.Errorf("step %d, %q: exit %d: %s (refused is to be %q)", i, args, code, text, step.Refused)
		}
	}
	return took, nil
}

// ask gives every command that reads, several times, and compares the litters with the truth.
func (r *rig) ask(d *daemon, story *yearstest.Story) error {
	const tries = 10
	file := filepath.Join(r.dir, "book.csv")
	asks := [][]string{
		{"litter", "list"},
		{"litter", "list", "--all"},
		{"litter", "show", "--litter", "1"},
		{"litter", "doe", story.Does[0]},
		{"litter", "nest", story.Nests[0].ID},
		{"litter", "outcomes"},
		{"litter", "held", "--since", yearstest.Day(0).Date()},
		{"chores"},
		{"status"},
		{"litter", "export", "--out", file},
	}
	for _, args := range asks {
		var t times
		size := 0
		for range tries {
			code, text, err := r.run(&t, append(args, "--config", d.file)...)
			if err != nil || code > 1 {
				fmt.Printf("%s: exit %d: %.200s\n", strings.Join(args, " "), code, text)
				break
			}
			size = len(text)
		}
		t.print(fmt.Sprintf("%s (%d bytes)", strings.Join(args, " "), size))
	}
	if err := r.compare(d, story); err != nil {
		return err
	}
	other, err := r.start(filepath.Join(r.dir, "b"), story)
	if err != nil {
		return err
	}
	defer other.end()
	var t times
	if code, text, err := r.run(&t, "litter", "import", file, "--config", other.file); err != nil || code != 0 {
		return fmt.Errorf("import: exit %d: %s, %w", code, text, err)
	}
	t.print("litter import of the whole book")
	again := filepath.Join(r.dir, "again.csv")
	if code, text, err := r.run(&t, "litter", "export", "--out", again, "--config", other.file); err != nil || code != 0 {
		return fmt.Errorf("export: exit %d: %s, %w", code, text, err)
	}
	a, errA := os.ReadFile(file)
	b, errB := os.ReadFile(again)
	if err := errors.Join(errA, errB); err != nil {
		return fmt.Errorf("comparing what was taken out and in again: %w", err)
	}
	if string(a) != string(b) {
		return fmt.Errorf("taken out and in again, the book is another: %d and %d bytes", len(a), len(b))
	}
	fmt.Printf("export and import into an empty book: equal, %d bytes of CSV\n", len(a))
	return nil
}

// compare holds the list of all litters against the truth.
func (r *rig) compare(d *daemon, story *yearstest.Story) error {
	out, err := r.command("litter", "list", "--all", "--json", "--config", d.file).Output()
	if err != nil {
		return err
	}
	var all []struct {
		Litter                       int
		Doe                          string
		Bred, Kindled, Weaned, Ended *time.Time
		Lost                         int
		Alive                        *int
	}
	if err := json.Unmarshal(out, &all); err != nil || len(all) != len(story.Litters) {
		return fmt.Errorf("%d litters are listed, want %d: %w", len(all), len(story.Litters), err)
	}
	on := func(t *time.Time) yearstest.Day {
		if t == nil {
			return yearstest.None
		}
		return yearstest.On(*t, r.loc)
	}
	wrong := 0
	for i, l := range story.Litters {
		v, lost := all[i], 0
		for _, n := range l.Lost {
			lost += n
		}
		alive, known := l.Alive(story.Days + 10)
		if v.Litter != l.Number || v.Doe != l.Doe || on(v.Bred) != l.Bred || on(v.Kindled) != l.Kindled || on(v.Weaned) != l.Weaned || on(v.Ended) != l.Ended || v.Lost != lost ||
			known && (v.Alive == nil || *v.Alive != alive) {
			wrong++
		}
	}
	fmt.Printf("litters that are not as they truly were: %d of %d\n", wrong, len(all))
	return nil
}
