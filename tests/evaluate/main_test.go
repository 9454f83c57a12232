package main

import (
	"encoding/xml"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestEndToEnd runs the command on two litters, twice: every heading says what it is, the pictures are pictures, and the
// same seeds say the same.
func TestEndToEnd(t *testing.T) {
	long(t)
	dir := t.TempDir()
	o := options{litters: 2, first: 1, world: "usual", out: dir, cases: true, years: 1, trace: -1}
	run := func(o options) string {
		t.Helper()
		var out strings.Builder
		if err := evaluate(&out, io.Discard, o); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	text := run(o)
	headings := strings.Split(text, "\n== ")[1:]
	if len(headings) < 14 {
		t.Errorf("%d tables, want 14 or more", len(headings))
	}
	for _, h := range headings {
		lines := strings.SplitN(h, "\n", 3)
		if len(lines) < 3 || !strings.HasPrefix(lines[1], "   SIMULATED, ") && !strings.Contains(lines[1], "real hourly weather") {
			t.Errorf("a heading does not say whether it is simulated: %q", h[:min(len(h), 200)])
		}
	}
	for _, want := range []string{"usual world, seeds 1-2, 2 litters, ", "nest-weeks", "fixed < 25, 10 min", "two probes: chill", "visit-overdue", "switches /year", "How to read this", "too few to compare"} {
		if !strings.Contains(text, want) {
			t.Errorf("nothing says %q", want)
		}
	}
	pictures, err := filepath.Glob(filepath.Join(dir, "*.svg"))
	if err != nil || len(pictures) != 3 {
		t.Fatalf("pictures %v, %v; want three", pictures, err)
	}
	for _, file := range pictures {
		checkPicture(t, file)
	}
	o.out, o.years = "", 0
	if again := run(o); !strings.HasPrefix(text, again) {
		t.Error("the same seeds gave other figures")
	}
}

func checkPicture(t *testing.T, file string) {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(text), "SIMULATED") {
		t.Errorf("%s does not say that it is simulated", filepath.Base(file))
	}
	for d := xml.NewDecoder(strings.NewReader(string(text))); ; {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatalf("%s: %v", filepath.Base(file), err)
		}
	}
}

func TestWrongUse(t *testing.T) {
	for _, row := range []struct {
		name string
		o    options
		want string
	}{
		{"a world nobody knows", options{litters: 1, world: "mars", trace: -1}, "write one of"},
		{"no litters", options{world: "usual", trace: -1}, "-litters 0"},
		{"a rig nobody knows", options{litters: 1, world: "usual", rig: 9, trace: -1}, "-rig 9"},
	} {
		t.Run(row.name, func(t *testing.T) {
			if err := evaluate(io.Discard, io.Discard, row.o); err == nil || !strings.Contains(err.Error(), row.want) {
				t.Errorf("got %v, want something with %q", err, row.want)
			}
		})
	}
}

// TestDrawn looks at what the seeds draw: each make-up as often, and shares near those they are drawn with.
func TestDrawn(t *testing.T) {
	const n = 2000
	makes, scenarios := map[string]int{}, map[string]int{}
	empty := 0
	for seed := range uint64(n) {
		l := draw(seed, false)
		makes[l.makeup]++
		if l.born.IsZero() {
			empty++
			continue
		}
		scenarios[l.scenario]++
		if !l.fault.from.IsZero() && l.fault.from.Before(l.born) {
			t.Fatalf("litter %d: %s befalls it before birth", seed, l.scenario)
		}
	}
	for name, got := range makes {
		if got != n/len(makeups) {
			t.Errorf("%d of %s, want %d", got, name, n/len(makeups))
		}
	}
	// Five standard deviations of a binomial share.
	near := func(name string, got int, of, share float64) {
		t.Helper()
		if d := float64(got) - of*share; d*d > 25*of*share*(1-share) {
			t.Errorf("%s: %d of %.0f, want a share of %v", name, got, of, share)
		}
	}
	near("empty", empty, n, emptyShare)
	near("quiet", scenarios[""], n-float64(empty), quietShare)
	for _, name := range []string{"poor cover", "starve", "probe pulled"} {
		near(name, scenarios[name], n-float64(empty), (1-quietShare)/8)
	}
}
