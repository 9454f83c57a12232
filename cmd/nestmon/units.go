package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// celsius is a temperature flag: 35, 35C, 95F, with or without a degree sign.
type celsius struct {
	value float64
	plain bool // no unit was written
}

// Set reads the flag's text.
func (c *celsius) Set(text string) error {
	number := strings.TrimSpace(text)
	unit := ""
	for _, u := range []string{"C", "c", "F", "f"} {
		if before, ok := strings.CutSuffix(number, u); ok {
			number, unit = strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(before), "°")), strings.ToUpper(u)
			break
		}
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return fmt.Errorf("%q is no temperature; write it like 35, 35C or 95F", text)
	}
	if unit == "F" {
		v = fromFahrenheit(v)
	}
	*c = celsius{value: v, plain: unit == ""}
	return nil
}

// String writes the flag for its help.
func (c *celsius) String() string {
	if c == nil || *c == (celsius{}) {
		return ""
	}
	return strconv.FormatFloat(c.value, 'g', -1, 64) + "C"
}

func fromFahrenheit(f float64) float64 { return (f - 32) * 5 / 9 }

func toFahrenheit(c float64) float64 { return c*9/5 + 32 }

// percent is a humidity flag: 50 or 50%.
type percent float64

// Set reads the flag's text.
func (p *percent) Set(text string) error {
	v, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), "%")), 64)
	if err != nil {
		return fmt.Errorf("%q is no humidity; write percent, like 50", text)
	}
	*p = percent(v)
	return nil
}

// String writes the flag for its help.
func (p *percent) String() string {
	if p == nil || *p == 0 {
		return ""
	}
	return strconv.FormatFloat(float64(*p), 'g', -1, 64)
}

// choose reads a flag that takes one of a few words.
func choose[T ~string](name, text string, words []T) (T, error) {
	var list []string
	for _, w := range words {
		if string(w) == text {
			return w, nil
		}
		list = append(list, string(w))
	}
	return "", fmt.Errorf("%s %q is unknown; write one of: %s", name, text, strings.Join(list, ", "))
}

// given tells which flags were written.
func given(fs *flag.FlagSet) map[string]bool {
	set := map[string]bool{}
	fs.Visit(func(f *flag.Flag) { set[f.Name] = true })
	return set
}

// wrongUse reports an error of use on a command's error stream.
func wrongUse(fs *flag.FlagSet, err error) int {
	fmt.Fprintf(fs.Output(), "nestmon %s: %v\n", fs.Name(), err)
	return exitWrongUse
}

// printJSON writes one value.
func printJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}
