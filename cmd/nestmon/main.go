// Command nestmon watches the nests of a rabbitry. Each command is one file; this one is only their table.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
)

// Exit codes, the same for every command.
const (
	exitDone     = 0 // done
	exitFinding  = 1 // an alarm is standing, a check failed
	exitWrongUse = 2 // wrong use or unusable input
)

// stdio is where a command reads and writes.
type stdio struct {
	in       io.Reader
	out, err io.Writer
}

// command is one word after the program's name.
type command struct {
	name  string
	short string // one line for the table of commands
	run   func(ctx context.Context, args []string, std stdio) int
}

var commands = []command{
	runCommand, demoCommand, checkCommand, doctorCommand, probesCommand, replayCommand, exportCommand, importCommand, backfillCommand, backupCommand, restoreCommand,
	statusCommand, litterCommand, choresCommand, alarmsCommand, passwordCommand, certificateCommand,
	airCommand, limitsCommand, calendarCommand, versionCommand,
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // a second signal ends the process, whatever hangs
	os.Exit(run(ctx, os.Args[1:], stdio{os.Stdin, os.Stdout, os.Stderr}))
}

func run(ctx context.Context, args []string, std stdio) int {
	if len(args) == 0 || args[0] == "-h" || args[0] == "--help" || args[0] == "help" {
		if len(args) == 0 {
			usage(std.err)
			return exitWrongUse
		}
		usage(std.out)
		return exitDone
	}
	if args[0] == "manual" { // which reads the table, and so is not in it: only what makes packages needs it
		return runManual(ctx, args[1:], std)
	}
	for _, c := range commands {
		if c.name == args[0] {
			return c.run(ctx, args[1:], std)
		}
	}
	fmt.Fprintf(std.err, "nestmon: there is no command %q; write one of those that 'nestmon help' lists\n", args[0])
	return exitWrongUse
}

func usage(w io.Writer) {
	fmt.Fprint(w, "nestmon watches rabbit nests: warm in a freeze, cool in a heat wave, looked after on time.\n\n")
	for _, c := range commands {
		fmt.Fprintf(w, "  nestmon %-11s %s\n", c.name, c.short)
	}
	fmt.Fprint(w, "\n'nestmon COMMAND -h' explains a command's flags.\n")
	fmt.Fprintf(w, "Exit codes: %d done; %d a finding: an alarm stands, a check failed; %d wrong use or unusable input.\n", exitDone, exitFinding, exitWrongUse)
}

// flags makes the flag set of one command; synopsis is the line after "usage: nestmon ".
func flags(name, synopsis string, std stdio) *flag.FlagSet {
	fs := flag.NewFlagSet(name, flag.ContinueOnError)
	fs.SetOutput(std.err)
	fs.Usage = func() {
		if r, ok := fs.Output().(*reader); ok {
			r.learn(fs, synopsis)
			return
		}
		fmt.Fprintf(fs.Output(), "usage: nestmon %s\n", synopsis)
		fs.PrintDefaults()
	}
	return fs
}

// parse reads the flags. When ok is false the command ends with the code given: 0 for -h, 2 for wrong use, of which one line tells.
func parse(fs *flag.FlagSet, args []string) (code int, ok bool) {
	out, usage := fs.Output(), fs.Usage
	fs.SetOutput(io.Discard)
	fs.Usage = func() {}
	err := fs.Parse(args)
	fs.SetOutput(out)
	fs.Usage = usage
	if err == nil && fs.NArg() > 0 {
		err = fmt.Errorf("%q is not expected here", fs.Arg(0))
	}
	switch {
	case errors.Is(err, flag.ErrHelp):
		usage()
		return exitDone, false
	case err != nil:
		return wrongUse(fs, fmt.Errorf("%w; 'nestmon %s -h' tells what can be written", err, fs.Name())), false
	}
	return exitDone, true
}
