package sensors

import (
	"errors"
	"fmt"
)

// Bindings gathers what is wrong with the probes of a source, each by itself and beside the others. The zero value is ready.
type Bindings struct {
	problems []error
	first    map[string]string // the probe that each place is bound to
}

// Report returns what a probe's Validate reports to.
func (b *Bindings) Report(id string) func(path, problem string) {
	return func(path, problem string) {
		b.problems = append(b.problems, fmt.Errorf("probe %s: %s: %s", id, path, problem))
	}
}

// Bind binds a probe to a place, under the key path, and refuses one that is bound already; instead says what to write: "another device".
func (b *Bindings) Bind(id, path, place, instead string) {
	if first, twice := b.first[place]; twice {
		b.Report(id)(path, fmt.Sprintf("%s is bound to %s already; write %s", place, first, instead))
	}
	if b.first == nil {
		b.first = make(map[string]string)
	}
	b.first[place] = id
}

// Err is everything that is wrong, or nil.
func (b *Bindings) Err() error { return errors.Join(b.problems...) }
