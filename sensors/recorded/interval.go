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
			p.gaps.Add(at.Sub(p.last))
		}
		p.last, p.line = at, reader.lines.line
	}
	medians := make(map[string]time.Duration, len(reader.probes))
	for id, p := range reader.probes {
		if gap, ok := p.gaps.Median(); ok {
			medians[id] = gap
		}
	}
	return medians, nil
}

// Gaps counts the gaps between the readings of a probe by their length, to the millisecond: there are few lengths, and mostly the one before.
type Gaps struct {
	gap    time.Duration
	n      int // of gap, not yet in counts
	counts map[time.Duration]int
}

// Add counts one.
func (t *Gaps) Add(gap time.Duration) {
	gap = gap.Round(time.Millisecond)
	if gap != t.gap {
		t.settle()
		t.gap = gap
	}
	t.n++
}

func (t *Gaps) settle() {
	if t.n == 0 {
		return
	}
	if t.counts == nil {
		t.counts = make(map[time.Duration]int)
	}
	t.counts[t.gap] += t.n
	t.n = 0
}

// Median returns the middle gap, the lower of two; false where there is none.
func (t *Gaps) Median() (time.Duration, bool) {
	t.settle()
	total, seen := 0, 0
	for _, n := range t.counts {
		total += n
	}
	for _, gap := range slices.Sorted(maps.Keys(t.counts)) {
		if seen += t.counts[gap]; 2*seen >= total {
			return gap, true
		}
	}
	return 0, false
}
