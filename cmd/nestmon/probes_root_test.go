package main

import (
	"log/slog"
	"strings"
	"testing"
)

// Below another root there are files only, and what to do is said once in a line.
func TestAnotherRootHasNoDevices(t *testing.T) {
	w := newWall(t)
	c, _, err := loadConfig(w.config(strings.ReplaceAll(rackConfig, "i2c-1", "i2c-7")))
	if err != nil {
		t.Fatal(err)
	}
	for _, source := range []string{"i2c", "onewire"} {
		kind, _ := sourceKindOf(source)
		var of []probeConfig
		for _, p := range c.Probes {
			if p.Source == source {
				of = append(of, p)
			}
		}
		var log said
		b, err := kind.open(w.root, c, kind.wire(w.root, of[0]), of, slog.New(slog.NewTextHandler(&log, nil)))
		if err != nil {
			t.Fatal(err)
		}
		b.Read(t.Context())
		want := "below " + w.root + " no device can be opened; leave --root out to read the board's own"
		for line := range strings.Lines(log.String()) {
			if strings.Count(line, want) != 1 {
				t.Errorf("%s: %s", source, line)
			}
		}
		if log.String() == "" {
			t.Errorf("%s: nothing was said", source)
		}
		_ = b.Close()
	}
}
