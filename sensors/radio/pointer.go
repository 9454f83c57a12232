package radio

import (
	"fmt"
	"strconv"
	"strings"
)

// pointer is a JSON pointer (RFC 6901), its escapes resolved.
type pointer struct {
	text  string
	steps []string
}

var unescape = strings.NewReplacer("~1", "/", "~0", "~")

func parsePointer(text string) (pointer, error) {
	if text == "" {
		return pointer{}, nil // the whole document
	}
	if text[0] != '/' {
		return pointer{}, fmt.Errorf("%q is not a JSON pointer; write / before each step, such as /%s", text, strings.TrimLeft(text, "$."))
	}
	for rest := text; ; {
		i := strings.IndexByte(rest, '~')
		if i < 0 {
			break
		}
		if rest = rest[i+1:]; rest == "" || rest[0] != '0' && rest[0] != '1' {
			return pointer{}, fmt.Errorf("%q holds a ~ of its own; write ~0 for ~ and ~1 for / within a name", text)
		}
	}
	p := pointer{text: text}
	for _, step := range strings.Split(text[1:], "/") {
		p.steps = append(p.steps, unescape.Replace(step))
	}
	return p, nil
}

// find returns what the pointer points at in a decoded document; ok is false when it points at nothing.
func (p pointer) find(doc any) (value any, ok bool) {
	for _, step := range p.steps {
		switch node := doc.(type) {
		case map[string]any:
			if doc, ok = node[step]; !ok {
				return nil, false
			}
		case []any:
			i, err := strconv.Atoi(step)
			if err != nil || i < 0 || i >= len(node) || strconv.Itoa(i) != step { // no sign and no leading zero (RFC 6901, section 4)
				return nil, false
			}
			doc = node[i]
		default:
			return nil, false
		}
	}
	return doc, true
}
