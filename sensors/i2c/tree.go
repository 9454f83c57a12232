package i2c

import (
	"cmp"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// adapter is a bus as the kernel shows it.
type adapter struct {
	name   string
	above  []string          // the buses of which it is a channel, the outermost first
	driven map[uint16]string // the kernel's drivers by address
	muxes  []uint16          // those that have channels
	linger bool              // one of them leaves its last channel open
}

// adapters lists the buses of a board, and of names those that periph knows, each after those it is a channel of.
func adapters(root string, names []string) (all []adapter) {
	there, _ := filepath.Glob(filepath.Join(root, "dev", "i2c-*")) // the pattern is right
	for _, t := range there {
		if name := filepath.Base(t); busPattern.MatchString(name) {
			all = append(all, newAdapter(root, name))
		}
	}
	for _, name := range names {
		if !slices.ContainsFunc(all, func(a adapter) bool { return a.name == name }) && registered(name) {
			all = append(all, newAdapter(root, name))
		}
	}
	slices.SortStableFunc(all, func(a, b adapter) int {
		return cmp.Or(cmp.Compare(len(a.above), len(b.above)), cmp.Compare(number(a.name), number(b.name)))
	})
	return all
}

func number(name string) int {
	n, err := strconv.Atoi(strings.TrimPrefix(name, "i2c-"))
	if err != nil {
		return -1
	}
	return n
}

func newAdapter(root, name string) adapter {
	a := adapter{name: name, driven: map[uint16]string{}}
	if at, err := filepath.EvalSymlinks(filepath.Join(root, devices, name)); err == nil {
		for dir := range strings.SplitSeq(filepath.Dir(at), string(filepath.Separator)) {
			if busPattern.MatchString(dir) {
				a.above = append(a.above, dir)
			}
		}
	}
	prefix := strings.TrimPrefix(name, "i2c-") + "-"
	chips, _ := filepath.Glob(filepath.Join(root, devices, prefix+"*", "driver")) // the pattern is right
	for _, c := range chips {
		address, err := strconv.ParseUint(strings.TrimPrefix(filepath.Base(filepath.Dir(c)), prefix), 16, 16)
		driver, broken := os.Readlink(c)
		if err != nil || broken != nil {
			continue
		}
		a.driven[uint16(address)] = filepath.Base(driver)
		if channels, _ := filepath.Glob(filepath.Join(filepath.Dir(c), "channel-*")); len(channels) > 0 {
			a.muxes = append(a.muxes, uint16(address))
			a.linger = a.linger || !disconnects(filepath.Dir(c))
		}
	}
	slices.Sort(a.muxes)
	return a
}

// disconnects reports whether the kernel's multiplexer opens no channel between two transactions: idle_state is -2 (Linux, pca954x).
func disconnects(dir string) bool {
	state, err := os.ReadFile(filepath.Join(dir, "idle_state")) //nolint:gosec // a path of the kernel's
	return err == nil && strings.TrimSpace(string(state)) == "-2"
}

// notes says what of the bus the kernel has.
func (a adapter) notes() (all []string) {
	var drivers []string
	for _, address := range slices.Sorted(maps.Keys(a.driven)) {
		drivers = append(drivers, fmt.Sprintf("%s (%s)", hex(address), a.driven[address]))
	}
	if len(drivers) > 0 {
		all = append(all, "the kernel's drivers have "+strings.Join(drivers, ", ")+": not asked here")
	}
	for _, m := range a.muxes {
		all = append(all, fmt.Sprintf("%s is a multiplexer that the kernel switches; each of its channels is a bus of its own", hex(m)))
	}
	return all
}
