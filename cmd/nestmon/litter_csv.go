package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"nestmon/thresholds/book"
)

// The file of the book: CSV (RFC 4180), one row for each entry, the columns of book.Columns in any order. A file that somebody writes needs
// what and on alone, and whatever else he knows.

// largestBook is the longest file that is read, in bytes; ours, no source: two hundred thousand entries.
const largestBook = 16 << 20

// bookFile is a file of the book as it was read.
type bookFile struct {
	name    string
	entries []book.Entry
	lines   []int // where each entry begins
}

// at is an error of a line.
func (f *bookFile) at(line int, format string, args ...any) error {
	return fmt.Errorf("%s:%d: %s", f.name, line, fmt.Sprintf(format, args...))
}

// readBook reads a file of the book. Nothing is judged but how it is written.
func readBook(file string, loc *time.Location) (*bookFile, error) {
	in, err := openInput(file)
	if err != nil {
		return nil, err
	}
	defer in.Close()
	text, err := io.ReadAll(io.LimitReader(in, largestBook+1))
	if err != nil {
		return nil, err
	}
	f := &bookFile{name: file}
	if text, err = f.plain(text); err != nil {
		return nil, err
	}
	r := csv.NewReader(bytes.NewReader(text))
	header, err := r.Read()
	if err != nil {
		return nil, f.broken(err, 0)
	}
	columns, err := f.columns(header)
	if err != nil {
		return nil, err
	}
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return f, nil
		}
		if err != nil {
			return nil, f.broken(err, len(header))
		}
		line, _ := r.FieldPos(0)
		e, empty := book.Entry{}, true
		for i, c := range columns {
			cell := strings.TrimSpace(row[i])
			if cell == "" {
				continue
			}
			empty = false
			if err := c.Set(&e, cell, loc); err != nil {
				return nil, f.at(line, "%s: %v", c.Name, err)
			}
		}
		if !empty {
			f.entries, f.lines = append(f.entries, e), append(f.lines, line)
		}
	}
}

// plain refuses what is no whole text, and takes away the mark with which spreadsheets begin one.
func (f *bookFile) plain(text []byte) ([]byte, error) {
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	lineAt := func(i int) int { return 1 + bytes.Count(text[:i], []byte("\n")) }
	switch {
	case len(bytes.TrimSpace(text)) == 0:
		return nil, f.at(1, "the file is empty; the first line names the columns, such as %s", handColumns)
	case len(text) > largestBook:
		return nil, f.at(1, "the file is longer than %d MB; split it", largestBook>>20)
	case bytes.HasPrefix(text, []byte("\xff\xfe")), bytes.HasPrefix(text, []byte("\xfe\xff")):
		return nil, f.at(1, "the file is UTF-16; save it as 'CSV UTF-8'")
	case text[len(text)-1] != '\n':
		return nil, f.at(lineAt(len(text)), "the last line has no end: the file may be cut off here; if it is whole, end it with a line break")
	}
	for i := 0; i < len(text); {
		r, n := utf8.DecodeRune(text[i:])
		if r == utf8.RuneError && n == 1 || r == 0 {
			return nil, f.at(lineAt(i), "this is not UTF-8 text; save the file as 'CSV UTF-8'")
		}
		i += n
	}
	head, _, _ := bytes.Cut(text, []byte("\n"))
	for _, s := range []struct{ mark, name string }{{";", "semicolons"}, {"\t", "tabs"}} {
		if bytes.Contains(head, []byte(s.mark)) && !bytes.Contains(head, []byte(",")) {
			return nil, f.at(1, "the columns are separated by %s; save the file with commas, and numbers with a point", s.name)
		}
	}
	return text, nil
}

// handColumns are those of a file that somebody might write.
const handColumns = "what,on,nest,doe,kits,cause,note"

func (f *bookFile) columns(header []string) ([]book.Column, error) {
	if slices.Equal(header, litterColumns) {
		return nil, f.at(1, "this is a litters file of 'nestmon replay'; here each row is one thing that happened: %s", handColumns)
	}
	var out []book.Column
	var names []string
	for _, name := range header {
		name = strings.ToLower(strings.TrimSpace(name))
		c, ok := book.ColumnOf(book.Field(name))
		if !ok {
			var all []string
			for _, c := range book.Columns {
				all = append(all, string(c.Name))
			}
			return nil, f.at(1, "column %q is unknown; write some of %s", name, strings.Join(all, ","))
		}
		if slices.Contains(names, name) {
			return nil, f.at(1, "column %s is there twice; remove one", name)
		}
		out, names = append(out, c), append(names, name)
	}
	for _, must := range []book.Field{book.TheWhat, book.TheTime} {
		if !slices.Contains(names, string(must)) {
			return nil, f.at(1, "column %s is missing; the first line names the columns, such as %s", must, handColumns)
		}
	}
	return out, nil
}

// broken says what is wrong with the form of a row.
func (f *bookFile) broken(err error, width int) error {
	at, ok := errors.AsType[*csv.ParseError](err)
	switch {
	case !ok:
		return fmt.Errorf("%s: %w", f.name, err)
	case errors.Is(err, csv.ErrFieldCount):
		return f.at(at.StartLine, "the row does not have the %d fields of the header; write one for each column, numbers with a point, and quotes round a text with a comma. If the row ends too early, the file is cut off", width)
	case errors.Is(err, csv.ErrQuote):
		return f.at(at.StartLine, "a quote is opened here and not closed at the end of its field; close it, and write a quote inside the field twice")
	}
	return f.at(at.Line, "%v; put quotes round the whole field, and write a quote inside it twice", at.Err)
}

// writeBook writes the file of the book.
func writeBook(out io.Writer, entries []book.Entry, loc *time.Location) error {
	w := csv.NewWriter(out)
	row := make([]string, len(book.Columns))
	for i, c := range book.Columns {
		row[i] = string(c.Name)
	}
	if err := w.Write(row); err != nil {
		return err
	}
	for _, e := range entries {
		for i, c := range book.Columns {
			row[i] = c.Get(&e, loc)
		}
		if err := w.Write(row); err != nil {
			return err
		}
	}
	w.Flush()
	return w.Error()
}

func flagDry(c *litterCall) { c.fs.BoolVar(&c.dry, "dry-run", false, "only say what it would do") }

// importTime bounds an import; ours, no source: a large book on a slow card.
const importTime = 5 * time.Minute

func importLitters(c *litterCall) error {
	f, err := readBook(c.arg, c.cfg.location())
	if err != nil {
		return err
	}
	var done importAnswer
	c.door.client.Timeout = importTime
	if err := c.door.post(c.ctx, "/control/import", importRequest{f.entries, c.dry}, &done); err != nil {
		if no, ok := errors.AsType[refusal](err); ok && no.Row != nil && *no.Row < len(f.lines) {
			return f.at(f.lines[*no.Row], "%s", no.Text)
		}
		return err
	}
	c.doubt(done.Doubts)
	if c.json {
		return printJSON(c.std.out, done)
	}
	said, end := "Imported", "."
	if done.Dry {
		said, end = "Would import", "; nothing was written."
	}
	fmt.Fprintf(c.std.out, "%s %s: %s new, %d in the book already, %s new%s\n", said, f.name, count(done.New, "row"), done.There, count(done.Litters, "litter"), end)
	return nil
}

func flagOut(c *litterCall) {
	c.fs.StringVar(&c.out, "out", "", "CSV `file` to write instead of standard output")
}

// entriesHeader says how many entries the daemon's file of the book has.
const entriesHeader = "Nestmon-Entries"

func exportLitters(c *litterCall) error {
	if c.json {
		return ask(c, "/control/entries", func([]book.Entry) error { return nil })
	}
	if c.out == "" {
		_, err := c.door.copy(c.ctx, "/control/book.csv", c.std.out)
		return err
	}
	var head http.Header
	err := replaceFile(c.out, func(w io.Writer) (err error) {
		head, err = c.door.copy(c.ctx, "/control/book.csv", w)
		return err
	})
	if err == nil {
		fmt.Fprintf(c.std.out, "Wrote %s entries to %s.\n", head.Get(entriesHeader), c.out)
	}
	return err
}
