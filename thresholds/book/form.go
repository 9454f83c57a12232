package book

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"nestmon/thresholds/alarm"
	"nestmon/thresholds/brood"
)

// Field is something an entry can say, by the name of its column.
type Field string

// The fields whose need depends on what happened.
const (
	InLitter  Field = "litter"
	InNest    Field = "nest"
	ToNest    Field = "to"
	WithOther Field = "with"
	TheDoe    Field = "doe"
	TheBuck   Field = "buck"
	KitsField Field = "kits"
	DeadField Field = "dead"
	TheCause  Field = "cause"
	TheFound  Field = "found"
	InGrams   Field = "grams"
	OfBedding Field = "bedding"
	DepthCM   Field = "depth"
	TheKind   Field = "kind"
	TheSeason Field = "season"
	TheChore  Field = "chore"
	TheNote   Field = "note"
	Earlier   Field = "replaces"
)

// Form is what an entry must and may say, apart from when, a note and what it replaces, which every entry may say.
type Form struct{ Must, May []Field }

// Forms is the form of each kind of entry.
var Forms = map[What]Form{
	Bred:         {[]Field{InLitter, InNest}, []Field{TheDoe, TheBuck}},
	Palpated:     {[]Field{InLitter, TheFound}, []Field{InNest}},
	BoxIn:        {[]Field{InLitter}, []Field{InNest, OfBedding, DepthCM, TheKind}},
	Kindled:      {[]Field{InLitter, InNest}, []Field{KitsField, DeadField, TheDoe, TheBuck, TheSeason, TheKind, OfBedding, DepthCM}},
	FosteredIn:   {[]Field{InLitter, WithOther, KitsField}, []Field{InNest}},
	Lost:         {[]Field{InLitter, KitsField, TheCause}, []Field{InNest}},
	FosteredOut:  {[]Field{InLitter, WithOther, KitsField}, []Field{InNest}},
	Weighed:      {[]Field{InLitter, InGrams}, []Field{InNest, KitsField}},
	Moved:        {[]Field{InLitter, ToNest}, []Field{InNest, TheKind, OfBedding, DepthCM}},
	Collected:    {[]Field{InLitter}, []Field{InNest, ToNest, KitsField}},
	Weaned:       {[]Field{InLitter}, []Field{InNest, KitsField}},
	Sold:         {[]Field{InLitter, KitsField}, []Field{InNest}},
	Kept:         {[]Field{InLitter, KitsField}, []Field{InNest}},
	Ended:        {[]Field{InLitter}, []Field{InNest}},
	DidNotKindle: {[]Field{InLitter}, []Field{InNest}},
	CarriedIn:    {[]Field{InNest}, []Field{InLitter}},
	CarriedOut:   {[]Field{InNest}, []Field{InLitter}},
	Did:          {[]Field{TheChore}, []Field{InNest, InLitter, OfBedding, DepthCM}},
	Noted:        {[]Field{TheNote}, []Field{InNest, InLitter, TheDoe}},
	Struck:       {[]Field{Earlier}, []Field{InNest, InLitter}},
}

// says lists what an entry says, by field.
func (e Entry) says() []Field {
	var out []Field
	for _, f := range []struct {
		field Field
		there bool
	}{
		{InLitter, e.Litter != 0},
		{InNest, e.Nest != ""},
		{ToNest, e.To != ""},
		{WithOther, e.With != 0},
		{TheDoe, e.Doe != ""},
		{TheBuck, e.Buck != ""},
		{KitsField, e.Kits != nil},
		{DeadField, e.Dead != nil},
		{TheCause, e.Cause != ""},
		{TheFound, e.Found != ""},
		{InGrams, e.Grams != 0},
		{OfBedding, e.Bedding != ""},
		{DepthCM, e.Depth != 0},
		{TheKind, e.Kind != ""},
		{TheSeason, e.Season != ""},
		{TheChore, e.Chore != ""},
		{TheNote, e.Note != ""},
		{Earlier, e.Replaces != 0},
	} {
		if f.there {
			out = append(out, f.field)
		}
	}
	return out
}

// Bounds of what is taken; ours, no source: more than can be true, and no more than a page can show.
const (
	MostKits  = 30     // of a litter; more than any doe has kindled at once
	mostGrams = 200000 // of a litter
	mostDepth = 60     // cm
	longName  = 60     // characters of a doe, a buck, a kind of bedding
	longNote  = 1000   // characters
)

// wellFormed says what is wrong with one entry by itself, and with which field.
func (e Entry) wellFormed() (Field, error) {
	form, known := Forms[e.What]
	if !known {
		return TheWhat, fmt.Errorf("%q is nothing the book knows; write one of %s", e.What, list(Whats))
	}
	says := e.says()
	for _, f := range form.Must {
		if !slices.Contains(says, f) {
			return f, fmt.Errorf("%s needs %s", e.What, f)
		}
	}
	for _, f := range says {
		if !slices.Contains(form.Must, f) && !slices.Contains(form.May, f) && f != TheNote && f != Earlier {
			return f, fmt.Errorf("%s says nothing of %s; leave it out", e.What, f)
		}
	}
	for _, n := range []struct {
		name Field
		kits *int
	}{{KitsField, e.Kits}, {DeadField, e.Dead}} {
		if n.kits != nil && (*n.kits < 0 || *n.kits > MostKits) {
			return n.name, fmt.Errorf("%s %d is outside 0 to %d; count again", n.name, *n.kits, MostKits)
		}
	}
	if e.What != Kindled && e.What != Collected && e.What != Weaned && e.Kits != nil && *e.Kits == 0 {
		return KitsField, fmt.Errorf("%s of no kits; write how many, or leave the entry out", e.What)
	}
	for _, w := range []struct {
		name  Field
		value string
	}{{TheCause, string(e.Cause)}, {TheFound, string(e.Found)}, {TheKind, string(e.Kind)}, {TheSeason, string(e.Season)}} {
		if in := Choices(w.name); w.value != "" && !slices.Contains(in, w.value) {
			return w.name, fmt.Errorf("%s %q is unknown; write one of %s", w.name, w.value, strings.Join(in, ", "))
		}
	}
	if e.Chore != "" && !e.Chore.Chore() {
		return TheChore, fmt.Errorf("%q is not a chore; write one such as %s, as 'nestmon chores' lists it", e.Chore, alarm.BeddingDue)
	}
	switch {
	case !(e.Grams >= 0 && e.Grams <= mostGrams):
		return InGrams, fmt.Errorf("%v g is outside 0 to %d g", e.Grams, mostGrams)
	case !(e.Depth >= 0 && e.Depth <= mostDepth):
		return DepthCM, fmt.Errorf("bedding %v cm deep is outside 0 to %d cm", e.Depth, mostDepth)
	}
	for _, t := range []struct {
		name Field
		text string
	}{{TheDoe, e.Doe}, {TheBuck, e.Buck}, {OfBedding, e.Bedding}, {InNest, e.Nest}, {ToNest, e.To}, {TheNote, e.Note}} {
		if n, most := len([]rune(t.text)), Longest(t.name); n > most {
			return t.name, fmt.Errorf("%s has %d characters; write at most %d", t.name, n, most)
		}
		if t.text != strings.TrimSpace(t.text) || strings.ContainsFunc(t.text, unicode.IsControl) {
			return t.name, fmt.Errorf("%s %q has a blank at an end, a line break or another control character; write it on one line", t.name, t.text)
		}
	}
	return "", nil
}

// Choices lists what can stand in a field, nil where anything can.
func Choices(f Field) []string {
	switch f {
	case TheCause:
		return names(Causes)
	case TheFound:
		return names(Findings)
	case TheKind:
		return names(brood.Kinds)
	case TheSeason:
		return names(brood.Seasons)
	case TheChore:
		return names(slices.DeleteFunc(slices.Clone(alarm.Names), func(n alarm.Name) bool { return !n.Chore() }))
	}
	return nil
}

// Longest is how many characters a field of text may have.
func Longest(f Field) int {
	if f == TheNote {
		return longNote
	}
	return longName
}

func names[T ~string](all []T) (out []string) {
	for _, n := range all {
		out = append(out, string(n))
	}
	return out
}

func list[T ~string](all []T) string { return strings.Join(names(all), ", ") }
