package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/term"

	"nestmon/exporter/web"
)

var passwordCommand = command{"password", "make the line of publish.page.password_file from a password", password}

func password(_ context.Context, args []string, std stdio) int {
	fs := flags("password", "password", std)
	if code, ok := parse(fs, args); !ok {
		return code
	}
	word, err := askPassword(std)
	if err == nil {
		word, err = web.HashPassword(word)
	}
	if err != nil {
		fmt.Fprintf(std.err, "nestmon password: %v\n", err)
		return exitWrongUse
	}
	if _, err := fmt.Fprintln(std.out, word); err != nil {
		fmt.Fprintf(std.err, "nestmon password: writing: %v\n", err)
		return exitWrongUse
	}
	return exitDone
}

// askPassword asks twice at a terminal, which shows nothing of it, and takes one line from anything else.
func askPassword(std stdio) (string, error) {
	if f, ok := std.in.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		first, err := askHidden(f, std.err, "New password of the page: ")
		if err != nil {
			return "", err
		}
		second, err := askHidden(f, std.err, "Once more: ")
		if err == nil && first != second {
			err = errors.New("the two are not the same; try again")
		}
		return first, err
	}
	// One more than the longest a line can be: a longer one is refused, not cut.
	line, err := bufio.NewReader(io.LimitReader(std.in, 1<<10)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", fmt.Errorf("reading the password: %w", err)
	}
	return strings.TrimRight(line, "\r\n"), nil
}

func askHidden(f *os.File, out io.Writer, question string) (string, error) {
	fmt.Fprint(out, question)
	word, err := term.ReadPassword(int(f.Fd()))
	fmt.Fprintln(out)
	if err != nil {
		return "", fmt.Errorf("reading the password: %w; pipe it in: printf '%%s' WORDS | nestmon password", err)
	}
	return string(word), nil
}
