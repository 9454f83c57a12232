package main

import (
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"time"
)

// lookAround says what this machine lacks for the configuration. It changes nothing. All probes of a kind are looked for together,
// on whatever wire they hang: one that is missing shows on none.
func lookAround(root string, c *config) (lacks []string, err error) {
	for _, kind := range sourceKinds {
		probes := slices.DeleteFunc(slices.Clone(c.Probes), func(p probeConfig) bool { return p.Source != kind.name })
		if kind.open == nil || len(probes) == 0 {
			continue // of a replay or a demonstration: there is nothing to look for
		}
		b, openErr := kind.open(root, c, kind.name, probes, slog.New(slog.DiscardHandler))
		if openErr != nil {
			return nil, openErr
		}
		lacks = append(lacks, b.Check()...)
		err = errors.Join(err, b.Close())
	}
	lacks = append(lacks, c.sameChips(root)...)
	lacks = append(lacks, lookAtFiles(c, time.Now())...)
	if err := writable(c.Data); err != nil {
		lacks = append(lacks, fmt.Sprintf("the archive cannot be written: %v; create %s and give it to the user nestmon", err, c.Data))
	}
	return lacks, err
}

// writable tries a file in dir or, when dir is yet to be made, in the nearest folder above it.
func writable(dir string) error {
	for {
		info, err := os.Stat(dir)
		if errors.Is(err, fs.ErrNotExist) && dir != filepath.Dir(dir) {
			dir = filepath.Dir(dir)
			continue
		}
		if err != nil {
			return err
		}
		if !info.IsDir() {
			return fmt.Errorf("%s is not a folder", dir)
		}
		break
	}
	f, err := os.CreateTemp(dir, ".nestmon-check-*")
	if err != nil {
		return err
	}
	return errors.Join(f.Close(), os.Remove(f.Name()))
}
