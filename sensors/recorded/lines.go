package recorded

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
)

const (
	readSize    = 1 << 16
	usualFields = 8 // room for the columns of a file; more are an error that names them
)

// lines cuts a file into lines and lines into fields.
type lines struct {
	r      *bufio.Reader
	name   string
	line   int      // of the line in text, from 1
	text   []byte   // without its end, valid until the next line
	fields [][]byte // of text, quotes resolved
	starts []int    // where each field begins in text
}

func newLines(r io.Reader, name string) *lines {
	return &lines{r: bufio.NewReaderSize(r, readSize), name: name, fields: make([][]byte, 0, usualFields), starts: make([]int, 0, usualFields)}
}

// next reads a line and cuts it. It returns io.EOF after the last one.
func (l *lines) next() error {
	text, err := l.r.ReadSlice('\n')
	switch {
	case err == nil:
		text = text[:len(text)-1]
	case errors.Is(err, io.EOF) && len(text) > 0: // the last line needs no end
	case errors.Is(err, io.EOF):
		return io.EOF
	case errors.Is(err, bufio.ErrBufferFull):
		l.line++
		return l.errorf(0, "line is longer than %d bytes; is this a CSV file?", readSize)
	default:
		return fmt.Errorf("%s: read after line %d: %w", l.name, l.line, err)
	}
	l.line++
	if n := len(text); n > 0 && text[n-1] == '\r' {
		text = text[:n-1]
	}
	l.text = text
	l.fields, l.starts = l.fields[:0], l.starts[:0]
	if bytes.IndexByte(text, '"') >= 0 {
		return l.cutQuoted()
	}
	start := 0
	for {
		end := bytes.IndexByte(text[start:], ',')
		if end < 0 {
			break
		}
		l.fields, l.starts = append(l.fields, text[start:start+end]), append(l.starts, start)
		start += end + 1
	}
	l.fields, l.starts = append(l.fields, text[start:]), append(l.starts, start)
	return nil
}

// cutQuoted cuts a line that holds quotes. No column can hold a line break, so a quoted field ends on its line.
func (l *lines) cutQuoted() error {
	for at := 0; ; {
		start := at
		var field []byte
		if at < len(l.text) && l.text[at] == '"' {
			at++
			for {
				n := bytes.IndexByte(l.text[at:], '"')
				if n < 0 {
					return l.errorf(start, "quoted field does not end on its line; add the closing quote")
				}
				field = append(field, l.text[at:at+n]...)
				at += n + 1
				if at == len(l.text) || l.text[at] != '"' {
					break
				}
				field = append(field, '"') // two quotes are one
				at++
			}
			if at < len(l.text) && l.text[at] != ',' {
				return l.errorf(at, "text after a closing quote; quote the whole field")
			}
		} else {
			n := bytes.IndexByte(l.text[at:], ',')
			if n < 0 {
				n = len(l.text) - at
			}
			field = l.text[at : at+n]
			if q := bytes.IndexByte(field, '"'); q >= 0 {
				return l.errorf(at+q, "quote inside a field; quote the whole field and double the quote")
			}
			at += n
		}
		l.fields, l.starts = append(l.fields, field), append(l.starts, start)
		if at == len(l.text) {
			return nil
		}
		at++ // the comma
	}
}

// errorf is an error at a byte of the current line.
func (l *lines) errorf(at int, format string, args ...any) error {
	return fmt.Errorf("%s:%d:%d: %s", l.name, l.line, at+1, fmt.Sprintf(format, args...))
}

// column is where field i begins.
func (l *lines) column(i int) int {
	if i < len(l.starts) {
		return l.starts[i]
	}
	return len(l.text)
}
