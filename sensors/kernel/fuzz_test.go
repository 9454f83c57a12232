package kernel

import (
	"math"
	"strings"
	"testing"
)

// FuzzValue: what a file of the kernel's holds is a number that decimal digits write, or an error.
func FuzzValue(f *testing.F) {
	for _, text := range []string{"", "21500\n", "-5\n", "-19", "nan", "inf", "0x10", "1e5", "--1", ".", "-", "1.2.3", "-0", "٣", strings.Repeat("9", 400), " 12 \n13"} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		v, err := parse(text)
		switch word := strings.TrimSpace(string(text)); {
		case err != nil && v != 0:
			t.Errorf("%q: %g beside %v", text, v, err)
		case err == nil && (math.IsNaN(v) || math.IsInf(v, 0)):
			t.Errorf("%q: %g", text, v)
		case err == nil && strings.ContainsAny(word, "eExXnNiI_ "):
			t.Errorf("%q was taken for %g", text, v)
		}
	})
}
