package main

import (
	"fmt"
	"io"
	"strings"
	"sync"
	"time"
)

// lineWidth fits the narrowest terminal people use.
const lineWidth = 80

// lines prints dated lines, one at a time, broken between words and indented under their text.
type lines struct {
	mu  sync.Mutex
	out io.Writer
}

func (l *lines) print(t time.Time, head, text string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	wrap(l.out, t.Format("Mon _2 15:04")+"  "+head, text)
}

// wrap prints text after head, broken between words, with further lines indented under its beginning.
func wrap(out io.Writer, head, text string) {
	indent := strings.Repeat(" ", len(head))
	line := head
	for i, word := range strings.Fields(text) {
		if i > 0 {
			if len([]rune(line))+1+len([]rune(word)) > lineWidth {
				fmt.Fprintln(out, line)
				line = indent
			} else {
				line += " "
			}
		}
		line += word
	}
	fmt.Fprintln(out, line)
}
