package recorded

import (
	"errors"
	"io"
	"maps"
	"slices"
	"time"
)

// MedianIntervals reads a whole file for the median spacing of each probe's rows, without its values. A probe with one row
// has none and is left out. It reports the same errors of times and probes as the Reader.
func MedianIntervals(r io.Reader, name string, loc *time.Location) (map[string]time.Duration, error) {
	reader := NewReader(r, name, loc)
	for {
		p, at, err := reader.key()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		if p.line > 0 {
			p.gaps.add(at.Sub(p.last).Round(time.Millisecond))
		}
		p.last, p.line = at, reader.lines.line
	}
	medians := make(map[string]time.Duration, len(reader.probes))
	for id, p := range reader.probes {
		if p.gaps.n > 0 {
			medians[id] = p.gaps.median()
		}
	}
	return medians, nil
}

// tally counts gaps by length: a log has few lengths, and mostly the one it had before.
type tally struct {
	gap    time.Duration
	n      int // of gap, not yet in counts
	counts map[time.Duration]int
}

func (t *tally) add(gap time.Duration) {
	if gap != t.gap {
		t.settle()
		t.gap = gap
	}
	t.n++
}

func (t *tally) settle() {
	if t.n == 0 {
		return
	}
	if t.counts == nil {
		t.counts = make(map[time.Duration]int)
	}
	t.counts[t.gap] += t.n
	t.n = 0
}

// median returns the middle gap, the lower of two.
func (t *tally) median() time.Duration {
	t.settle()
	total, seen := 0, 0
	for _, n := range t.counts {
		total += n
	}
	for _, gap := range slices.Sorted(maps.Keys(t.counts)) {
		if seen += t.counts[gap]; 2*seen >= total {
			return gap
		}
	}
	return 0
}
