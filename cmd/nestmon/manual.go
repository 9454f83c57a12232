package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// The man pages and the completion of the shell are read off the commands themselves: each is asked for its help by what makes it
// print it, and so they cannot say anything else.

// completionFile is the completion beside the man pages.
const completionFile = "nestmon.bash"

// runManual writes the man pages and the completion of bash into a folder.
func runManual(ctx context.Context, args []string, std stdio) int {
	fs := flags("manual", "manual --to FOLDER", std)
	to := fs.String("to", "", "`folder` to write to; it must be there")
	if code, ok := parse(fs, args); !ok {
		return code
	}
	if *to == "" {
		return wrongUse(fs, errors.New("--to is missing; write the folder to write to"))
	}
	all := allHelp(ctx)
	files := map[string]string{"nestmon.1": mainPage(), completionFile: completion(all)}
	for _, h := range all {
		files["nestmon-"+h.name+".1"] = h.page()
	}
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if err := os.WriteFile(filepath.Join(*to, name), []byte(files[name]), 0o644); err != nil { //nolint:gosec // for everybody to read
			fmt.Fprintf(std.err, "nestmon manual: %v; make the folder first, or name another\n", err)
			return exitWrongUse
		}
	}
	return exitDone
}

// help is what a command says of itself, or one of its actions.
type help struct {
	name, short string
	synopsis    string
	flags       []*flag.Flag
	actions     []help // those with flags of their own
	words       []string
}

// reader is a standard output that learns the flags of the command that would print its help there.
type reader struct {
	bytes.Buffer
	name, synopsis string
	flags          []*flag.Flag
}

func (r *reader) learn(fs *flag.FlagSet, synopsis string) {
	r.name, r.synopsis = fs.Name(), synopsis
	fs.VisitAll(func(f *flag.Flag) { r.flags = append(r.flags, f) })
}

// helpOf has a command tell its help.
func helpOf(ctx context.Context, c command, words ...string) help {
	r := &reader{}
	c.run(ctx, append(words, "-h"), stdio{strings.NewReader(""), r, r})
	if r.synopsis == "" { // a command that lists its actions and has no flags itself
		r.synopsis = strings.TrimPrefix(strings.TrimSpace(r.String()), "usage: nestmon ")
	}
	return help{name: strings.Join(append([]string{c.name}, words...), " "), short: c.short, synopsis: r.synopsis, flags: r.flags}
}

// choice is the list of actions in a synopsis.
var choice = regexp.MustCompile(`^[a-z]+ \[([a-z-]+(?:\|[a-z-]+)+)\]`)

// actionsOf lists the words that may stand after a command.
func actionsOf(h help) (words []string) {
	switch m := choice.FindStringSubmatch(h.synopsis); {
	case h.name == litterCommand.name:
		for _, a := range litterActions() {
			words = append(words, a.name)
		}
	case h.name == alarmsCommand.name:
		words = slices.Sorted(maps.Keys(alarmActions))
	case m != nil:
		words = strings.Split(m[1], "|")
	}
	return words
}

func allHelp(ctx context.Context) (all []help) {
	for _, c := range commands {
		h := helpOf(ctx, c)
		h.words = actionsOf(h)
		for _, word := range h.words {
			if a := helpOf(ctx, c, word); a.synopsis != h.synopsis {
				h.actions = append(h.actions, a)
			}
		}
		all = append(all, h)
	}
	return all
}

// flagNames lists the names of flags, and of those whose value is a file.
func flagNames(flags []*flag.Flag) (names, files []string) {
	for _, f := range flags {
		names = append(names, "--"+f.Name)
		if value, _ := flag.UnquoteUsage(f); value == "file" || value == "folder" {
			files = append(files, "--"+f.Name)
		}
	}
	return names, files
}

// completion is the completion for bash: commands, actions, flags and, after a flag that takes one, files.
func completion(all []help) string {
	var b strings.Builder
	b.WriteString("# Completion of nestmon for bash, made by 'nestmon manual'.\n_nestmon() {\n\tlocal cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD-1]} words files\n")
	b.WriteString("\tif [ \"$COMP_CWORD\" = 1 ]; then\n")
	top := []string{"help"}
	for _, h := range all {
		top = append(top, h.name)
	}
	fmt.Fprintf(&b, "\t\tmapfile -t COMPREPLY < <(compgen -W '%s' -- \"$cur\")\n\t\treturn\n\tfi\n\tcase \"${COMP_WORDS[1]} ${COMP_WORDS[2]}\" in\n", strings.Join(top, " "))
	for _, h := range all {
		for _, a := range h.actions {
			names, files := flagNames(a.flags)
			fmt.Fprintf(&b, "\t'%s') words='%s' files='%s' ;;\n", a.name, strings.Join(names, " "), strings.Join(files, " "))
		}
		names, files := flagNames(h.flags)
		fmt.Fprintf(&b, "\t'%s '*) words='%s' files='%s' ;;\n", h.name, strings.Join(append(slices.Clone(h.words), names...), " "), strings.Join(files, " "))
	}
	b.WriteString("\tesac\n\tcase \" $files \" in\n\t*\" $prev \"*) mapfile -t COMPREPLY < <(compgen -f -- \"$cur\") ;;\n" +
		"\t*) mapfile -t COMPREPLY < <(compgen -W \"$words\" -- \"$cur\") ;;\n\tesac\n}\ncomplete -o filenames -F _nestmon nestmon\n")
	return b.String()
}

// roff writes text so that no character of it is taken for an instruction.
func roff(text string) string {
	lines := strings.Split(strings.NewReplacer(`\`, `\e`, "-", `\-`, "'", `\(aq`, "`", `\(ga`, "°", `\(de`, "²", `\[S2]`).Replace(text), "\n")
	for i, line := range lines {
		if strings.HasPrefix(line, ".") {
			lines[i] = `\&` + line
		}
	}
	return strings.Join(lines, "\n")
}

func title(name string) string {
	return fmt.Sprintf(".TH %s 1 \"\" \"nestmon\" \"Manual of nestmon\"\n", strings.ToUpper(roff(name)))
}

// mainPage is nestmon(1).
func mainPage() string {
	var b strings.Builder
	b.WriteString(title("nestmon") + ".SH NAME\nnestmon \\- watch over rabbit nests\n.SH SYNOPSIS\n.B nestmon\n.I COMMAND\n.RI [ flags ]\n" +
		".SH DESCRIPTION\nnestmon reads temperature and humidity probes in nest boxes and buried totes, judges them by what the kits need at their age, and calls you.\n" +
		"Each command has a page of its own, such as\n.BR nestmon\\-check (1).\n.SH COMMANDS\n")
	for _, c := range commands {
		fmt.Fprintf(&b, ".TP\n.B %s\n%s\n", roff(c.name), roff(c.short))
	}
	fmt.Fprintf(&b, ".SH EXIT STATUS\n.TP\n.B %d\ndone\n.TP\n.B %d\na finding: an alarm stands, a check failed\n.TP\n.B %d\nwrong use or unusable input\n", exitDone, exitFinding, exitWrongUse)
	fmt.Fprintf(&b, ".SH FILES\n.TP\n.I %s\nthe configuration, which is commented\n.TP\n.I %s\nthe archive: readings, litter book, alarms\n.SH SEE ALSO\n", roff(installedConfig), roff("/var/lib/nestmon"))
	var pages []string
	for _, c := range commands {
		pages = append(pages, ".BR "+roff("nestmon-"+c.name)+" (1)")
	}
	b.WriteString(strings.Join(pages, ",\n") + "\n")
	return b.String()
}

// page is the page of a command with its actions.
func (h help) page() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s.SH NAME\n%s \\- %s\n.SH SYNOPSIS\n.nf\n%s\n.fi\n", title("nestmon-"+h.name), roff("nestmon-"+h.name), roff(h.short), roff("nestmon "+h.synopsis))
	if len(h.flags) > 0 {
		b.WriteString(".SH OPTIONS\n")
		writeFlags(&b, h.flags)
	}
	if len(h.actions) > 0 {
		b.WriteString(".SH ACTIONS\n")
	}
	for _, a := range h.actions {
		fmt.Fprintf(&b, ".SS %s\n.nf\n%s\n.fi\n", roff(a.name), roff("nestmon "+a.synopsis))
		writeFlags(&b, a.flags)
	}
	b.WriteString(".SH SEE ALSO\n.BR nestmon (1)\n")
	return b.String()
}

func writeFlags(b *strings.Builder, flags []*flag.Flag) {
	for _, f := range flags {
		value, usage := flag.UnquoteUsage(f)
		fmt.Fprintf(b, ".TP\n.B %s", roff("--"+f.Name))
		if value != "" {
			fmt.Fprintf(b, " \\fI%s\\fR", roff(value))
		}
		fmt.Fprintf(b, "\n%s", roff(usage))
		if f.DefValue != "" && f.DefValue != "false" && f.DefValue != "0" && f.DefValue != "0s" {
			fmt.Fprintf(b, " (%s when left out)", roff(f.DefValue))
		}
		b.WriteString("\n")
	}
}
