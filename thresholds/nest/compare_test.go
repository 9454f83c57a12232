package nest

import (
	"strings"
	"testing"
)

// A figure whose error is over half its value is not told; one that is sure enough is.
func TestUncertainFiguresAreNotTold(t *testing.T) {
	f := func(value, err float64) Figure { return Figure{Value: value, Error: err, N: 8, Known: true} }
	sure := Learned{Nights: 8, WarmKits: f(4, 1.9), Follows: f(30, 10), Share: f(0.9, 0.1), Damped: f(0.2, 0.05), LateH: f(6, 1)}
	vague := Learned{Nights: 8, WarmKits: f(4, 2.1), Follows: f(30, 16), Share: f(0.9, 0.1), Damped: f(0.2, 0.05), LateH: f(6, 4)}
	if got := sure.sentences(false, true, 0); len(got) != 3 {
		t.Errorf("of sure figures %d sentences, want 3: %q", len(got), got)
	}
	if got := vague.sentences(false, true, 0); len(got) != 0 {
		t.Errorf("uncertain figures are told: %q", got)
	}
	few := Learned{Nights: 3}
	if got := few.sentences(false, false, 0); strings.Join(got, "") != "How this nest holds warmth: known after 5 nights, 3 seen." {
		t.Errorf("after three nights: %q", got)
	}
}
