package query

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"
)

// metricName is the label that holds a series' name.
const metricName = "__name__"

// matcher is one condition of a selector.
type matcher struct {
	label, op, value string
	re               *regexp.Regexp // of =~ and !~
}

func (m matcher) matches(value string) bool {
	switch m.op {
	case "=":
		return value == m.value
	case "!=":
		return value != m.value
	case "=~":
		return m.re.MatchString(value)
	default:
		return !m.re.MatchString(value)
	}
}

// parseSelector reads name{label="value",…}, with =, !=, =~ and !~, as match[] has it: the one part of the language that the addresses
// without the engine need. A regular expression must match the whole value.
func parseSelector(text string) ([]matcher, error) {
	if !utf8.ValidString(text) {
		return nil, errors.New("the selector is not text in UTF-8")
	}
	s := scanner{rest: text}
	s.space()
	var all []matcher
	if name := s.name(":"); name != "" {
		all = append(all, matcher{label: metricName, op: "=", value: name})
	}
	s.space()
	if len(all) == 0 && s.rest == "" {
		return nil, errors.New("the selector is empty; write one like nestmon_probe_temperature_celsius{role=\"air\"}")
	}
	if s.take("{") {
		for s.space(); !s.take("}"); s.space() {
			m, err := s.matcher()
			if err != nil {
				return nil, err
			}
			if m.label == metricName && len(all) > 0 && all[0].label == metricName && text[0] != '{' {
				return nil, errors.New("the name of the metric is given twice")
			}
			all = append(all, m)
			s.space()
			if !s.take(",") && !strings.HasPrefix(s.rest, "}") {
				return nil, fmt.Errorf("%q stands where , or } is wanted", clip(s.rest))
			}
		}
	}
	if s.space(); s.rest != "" {
		return nil, fmt.Errorf("%q stands after the selector", clip(s.rest))
	}
	for _, m := range all {
		if !m.matches("") {
			return all, nil
		}
	}
	return nil, errors.New("the selector matches everything; name a metric, or a label that must be there")
}

// scanner takes a text apart from its beginning.
type scanner struct{ rest string }

func (s *scanner) space() { s.rest = strings.TrimLeft(s.rest, " \t\r\n") }

func (s *scanner) take(token string) bool {
	rest, ok := strings.CutPrefix(s.rest, token)
	s.rest = rest
	return ok
}

// name takes a name of ASCII letters, digits after the first, underscores and what else is allowed.
func (s *scanner) name(also string) string {
	n := 0
	for ; n < len(s.rest); n++ {
		c := s.rest[n]
		if letter := c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '_' || strings.IndexByte(also, c) >= 0; !letter && (n == 0 || c < '0' || c > '9') {
			break
		}
	}
	name := s.rest[:n]
	s.rest = s.rest[n:]
	return name
}

func (s *scanner) matcher() (m matcher, err error) {
	if m.label = s.name(""); m.label == "" {
		return m, fmt.Errorf("%q stands where the name of a label is wanted", clip(s.rest))
	}
	s.space()
	for _, op := range []string{"=~", "!~", "!=", "="} {
		if s.take(op) {
			m.op = op
			break
		}
	}
	if m.op == "" {
		return m, fmt.Errorf("%q stands where =, !=, =~ or !~ is wanted", clip(s.rest))
	}
	s.space()
	if m.value, err = s.quoted(); err != nil {
		return m, err
	}
	if m.op == "=~" || m.op == "!~" {
		if m.re, err = regexp.Compile("^(?s:" + m.value + ")$"); err != nil {
			return m, fmt.Errorf("%q is not a regular expression: %w", clip(m.value), err)
		}
	}
	return m, nil
}

// quoted takes a string in "…", '…' or `…`, the first two with Go's escapes.
func (s *scanner) quoted() (string, error) {
	if s.rest == "" || !strings.ContainsRune("\"'`", rune(s.rest[0])) {
		return "", fmt.Errorf("%q stands where a value in quotes is wanted", clip(s.rest))
	}
	quote := s.rest[0]
	rest := s.rest[1:]
	var out strings.Builder
	for rest != "" && rest[0] != '\n' {
		if rest[0] == quote {
			s.rest = rest[1:]
			return out.String(), nil
		}
		if quote == '`' {
			out.WriteByte(rest[0])
			rest = rest[1:]
			continue
		}
		c, multibyte, tail, err := strconv.UnquoteChar(rest, quote)
		if err != nil {
			return "", fmt.Errorf("%q is not an escape", clip(rest))
		}
		if c < utf8.RuneSelf || !multibyte {
			out.WriteByte(byte(c))
		} else {
			out.WriteRune(c)
		}
		rest = tail
	}
	return "", errors.New("a value in quotes does not end")
}
