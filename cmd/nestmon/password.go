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

func password(ctx context.Context, args []string, std stdio) int {
	fs := flags("password", "password\nasks for the password twice, or takes one line from a pipe, and writes the line of publish.page.password_file", std)
	if code, ok := parse(fs, args); !ok {
		return code
	}
	word, err := askPassword(ctx, std)
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
func askPassword(ctx context.Context, std stdio) (string, error) {
	if atTerminal(std.in) {
		f := std.in.(*os.File)
		first, err := askHidden(ctx, f, std.err, "New password of the page: ")
		if err != nil {
			return "", err
		}
		second, err := askHidden(ctx, f, std.err, "Once more: ")
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

// askHidden puts the terminal back as it was also where the person gives up.
func askHidden(ctx context.Context, f *os.File, out io.Writer, question string) (string, error) {
	fd := int(f.Fd())
	before, err := term.GetState(fd)
	if err != nil {
		return "", fmt.Errorf("reading the password: %w; pipe it in instead", err)
	}
	fmt.Fprint(out, question)
	defer fmt.Fprintln(out)
	type answer struct {
		word []byte
		err  error
	}
	typed := make(chan answer, 1)
	go func() {
		word, err := term.ReadPassword(fd)
		typed <- answer{word, err}
	}()
	select {
	case a := <-typed:
		if a.err != nil {
			return "", fmt.Errorf("reading the password: %w; pipe it in instead", a.err)
		}
		return string(a.word), nil
	case <-ctx.Done():
		return "", errors.Join(errors.New("nothing was made"), term.Restore(fd, before))
	}
}

// atTerminal reports whether a person can be asked.
func atTerminal(in io.Reader) bool {
	f, ok := in.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}
