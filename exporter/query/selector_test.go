package query

import (
	"cmp"
	"slices"
	"strings"
	"testing"

	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/promql/parser"
)

func TestSelectors(t *testing.T) {
	for _, row := range []struct{ text, says string }{ // says is part of the error, empty where there is none
		{"a", ""},
		{" a:b_1 { } ", ""},
		{`{a="b"}`, ""},
		{`a{b="c",}`, ""},
		{"a{b=~\"c|d\",\n e!~'', f!=`\\`}", ""},
		{`{__name__=~"a.+"}`, ""},
		{`{a=~"é{2}", b="\x41é"}`, ""},
		{"", "empty"},
		{"{}", "matches everything"},
		{`{a=""}`, "matches everything"},
		{`{a=~"b*"}`, "matches everything"},
		{`a{__name__="b"}`, "given twice"},
		{"1a", "stands after"},
		{"a b", "stands after"},
		{"a{", "name of a label"},
		{"a{b}", "=, !=, =~ or !~"},
		{"a{b=c}", "in quotes"},
		{`a{b="c}`, "does not end"},
		{"a{b=\"c\n\"}", "does not end"},
		{`a{b="\y"}`, "escape"},
		{`a{b="c" d="e"}`, ", or }"},
		{`a{,}`, "name of a label"},
		{"a{b=\"\xe6\"}", "UTF-8"},
		{`a{b=~"("}`, "regular expression"},
		{`rate(a[5m])`, "stands after"},
	} {
		switch _, err := parseSelector(row.text); {
		case (err == nil) != (row.says == ""):
			t.Errorf("%q: %v, want %q", row.text, err, row.says)
		case err != nil && !strings.Contains(err.Error(), row.says):
			t.Errorf("%q: %v, want %q", row.text, err, row.says)
		}
		agrees(t, row.text)
	}
}

// agrees compares a selector with what Prometheus's own parser makes of it. Ours knows no quoted names and no comments.
func agrees(t *testing.T, text string) {
	ours, err := parseSelector(text)
	theirs, errOfTheirs := parser.NewParser(parser.Options{}).ParseMetricSelector(text)
	if err != nil {
		if errOfTheirs == nil && !strings.ContainsAny(text, "#\"'`") && slices.ContainsFunc(theirs, func(m *labels.Matcher) bool { return !m.Matches("") }) {
			t.Errorf("%q: %v, and Prometheus takes it: %v", text, err, theirs)
		}
		return
	}
	if errOfTheirs != nil {
		if first := strings.TrimLeft(text, " \t\r\n"); first[0] == '{' { // a word of the language is no name to them
			t.Errorf("%q is taken, and Prometheus says %v", text, errOfTheirs)
		}
		return
	}
	byLabel := func(a, b *labels.Matcher) int {
		return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.Type, b.Type), cmp.Compare(a.Value, b.Value))
	}
	kinds := map[string]labels.MatchType{"=": labels.MatchEqual, "!=": labels.MatchNotEqual, "=~": labels.MatchRegexp, "!~": labels.MatchNotRegexp}
	var all []*labels.Matcher
	for _, m := range ours {
		all = append(all, labels.MustNewMatcher(kinds[m.op], m.label, m.value))
	}
	slices.SortFunc(all, byLabel)
	slices.SortFunc(theirs, byLabel)
	if !slices.EqualFunc(all, theirs, func(a, b *labels.Matcher) bool { return byLabel(a, b) == 0 }) {
		t.Errorf("%q: %v, Prometheus %v", text, all, theirs)
		return
	}
	for _, value := range []string{"", "a", "b", "c", "d|c", "a\nb", "é", text} {
		for _, m := range ours {
			if want := labels.MustNewMatcher(kinds[m.op], m.label, m.value).Matches(value); m.matches(value) != want {
				t.Errorf("%q: %s %s %q of %q: %v", text, m.label, m.op, m.value, value, !want)
			}
		}
	}
}

func FuzzSelector(f *testing.F) {
	for _, text := range []string{"a", `{a="b"}`, `a{b=~"c.*|d",e!~"^$"}`, "{a=`\\`,}", `{a='\'"'}`, `{"a"}`, "a{}#", "\x00{}", `{a="\xff\u00e9"}`, `{a=~"(?i)B"}`, `on{a="b"}`, `inf`} {
		f.Add(text)
	}
	f.Fuzz(agrees)
}
