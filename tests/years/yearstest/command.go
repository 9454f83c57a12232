package yearstest

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// words are the commands whose word is not what they write.
var words = map[string]string{"carried-in": "carry-in", "carried-out": "carry-out", "noted": "note"}

// Command is the command that writes a step, after the program's name and without --config; none where it takes a file, see Rows.
func (s *Story) Command(step Step, loc *time.Location) []string {
	first := step.Said[0]
	when := first.On.Date()
	if first.Hour != DayOnly {
		when = first.Time(loc).Format(time.RFC3339)
	}
	switch {
	case len(step.Said) == 2 && first.What == "fostered-out":
		return []string{"litter", "foster", "--from", first.Nest, "--to", step.Said[1].Nest, "--kits", strconv.Itoa(first.Kits), "--on", when}
	case len(step.Said) > 1:
		return nil
	case first.What == "did":
		return []string{"chores", "done", "--nest", first.Nest, "--event", first.Chore}
	case first.What == "struck":
		return []string{"litter", "strike", strconv.Itoa(first.Replaces)}
	case first.Replaces != 0:
		return append([]string{"litter", "correct", strconv.Itoa(first.Replaces)}, changed(first.flags(when), s.Entries[first.Replaces-1].flags(s.Entries[first.Replaces-1].On.Date()))...)
	}
	word := first.What
	if other, ok := words[word]; ok {
		word = other
	}
	args := []string{"litter", word}
	if first.Litter != 0 && !first.ByNest && first.What != "bred" {
		args = append(args, "--litter", strconv.Itoa(first.Litter))
	} else if first.Nest != "" {
		args = append(args, "--nest", first.Nest)
	}
	return append(args, changed(first.flags(when), nil)...)
}

// flag is one flag and its value, empty where it is not given.
type flag struct{ name, value string }

func (s Said) flags(when string) []flag {
	count := func(n int) string {
		if n == Unsaid {
			return ""
		}
		return strconv.Itoa(n)
	}
	number := func(x float64) string {
		if x == 0 {
			return ""
		}
		return strconv.FormatFloat(x, 'f', -1, 64)
	}
	kits := "--kits"
	if s.What == "kindled" {
		kits = "--born"
	}
	return []flag{
		{"--on", when},
		{"--to", s.To},
		{"--doe", s.Doe},
		{"--buck", s.Buck},
		{kits, count(s.Kits)},
		{"--dead", count(s.Dead)},
		{"--cause", s.Cause},
		{"--found", s.Found},
		{"--bedding", s.Bedding},
		{"--depth", number(s.Depth)},
		{"--grams", number(s.Grams)},
		{"--note", s.Note},
	}
}

// changed are the arguments of flags that are given and not as they were.
func changed(flags, were []flag) (args []string) {
	for i, f := range flags {
		if f.value != "" && (were == nil || were[i].value != f.value) {
			args = append(args, f.name, f.value)
		}
	}
	return args
}

// Rows is a step of several entries as the file of an import.
func (step Step) Rows() string {
	var b strings.Builder
	b.WriteString("what,on,litter,nest,kits,cause\n")
	for _, s := range step.Said {
		kits := ""
		if s.Kits != Unsaid {
			kits = strconv.Itoa(s.Kits)
		}
		fmt.Fprintf(&b, "%s,%s,%d,%s,%s,%s\n", s.What, s.On.Date(), s.Litter, s.Nest, kits, s.Cause)
	}
	return b.String()
}
