package main

import (
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
)

// lookAround says what this machine lacks for the configuration. It changes nothing.
func lookAround(root string, c *config) ([]string, error) {
	live := *c
	live.Probes = slices.DeleteFunc(slices.Clone(c.Probes), func(p probeConfig) bool {
		kind, _ := sourceKindOf(p.Source)
		return kind.open == nil // of a replay or a demonstration: there is nothing to look for
	})
	boards, err := openBoards(root, &live, slog.New(slog.DiscardHandler))
	if err != nil {
		return nil, err
	}
	var lacks []string
	for _, b := range boards {
		for _, lack := range b.Check() {
			if !slices.Contains(lacks, lack) { // several wires may lack the same
				lacks = append(lacks, lack)
			}
		}
		err = errors.Join(err, b.Close())
	}
	lacks = append(lacks, lookAtFiles(c)...)
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
