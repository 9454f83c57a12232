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
	head = t.Format("Mon _2 15:04") + "  " + head
	indent := strings.Repeat(" ", len(head))
	l.mu.Lock()
	defer l.mu.Unlock()
	line := head
	for i, word := range strings.Fields(text) {
		if i > 0 {
			if len([]rune(line))+1+len([]rune(word)) > lineWidth {
				fmt.Fprintln(l.out, line)
				line = indent
			} else {
				line += " "
			}
		}
		line += word
	}
	fmt.Fprintln(l.out, line)
}
