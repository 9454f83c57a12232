// Package sinktest is the conformance suite of sinks. Every sink calls the function of its kind from its own tests, with a
// rig that holds the sink and lets the suite command the far side:
//
//	func TestConformance(t *testing.T) {
//		sinktest.ReadingSink(t, func(t *testing.T) sinktest.ReadingRig { … })
//	}
//
// The suite checks what the contracts in exporter promise: order, at least once, what a refusal, a slow, a hanging and an
// absent far side lead to, that a context bounds every call, and that no error shows the secret. A rig lists the conduct its
// far side can be put into; the suite skips, by name, what it cannot. How soon a call must return after its context ended is
// not measured, only that it does.
package sinktest

import (
	"context"
	"strings"
	"testing"
	"time"
)

// Conduct is what the far side does.
type Conduct string

// The conducts.
const (
	Accepts Conduct = "accepts" // takes what comes
	Fails   Conduct = "fails"   // says no for now: overloaded, restarting
	Refuses Conduct = "refuses" // says no for good to everything it is given
	Slow    Conduct = "slow"    // takes what comes, after a while
	Hangs   Conduct = "hangs"   // takes the connection and never answers
	Absent  Conduct = "absent"  // nobody listens
)

// Far is the far side of the sink under test.
type Far struct {
	Can    []Conduct     // what it can be put into; Accepts goes without saying
	Set    func(Conduct) // nil where Can is empty
	Secret string        // what must show in no error; empty where there is none
}

// tooLong is when a call that should have returned is called hung. It only bounds a failing test.
const tooLong = 30 * time.Second

// put sets the conduct, or skips the test.
func (f Far) put(t *testing.T, c Conduct) {
	t.Helper()
	for _, can := range f.Can {
		if can == c {
			f.Set(c)
			return
		}
	}
	t.Skipf("the far side of this sink cannot be made to do this: %s", c)
}

// call runs fn with a context that ends after limit, and fails when fn outlives it.
func (f Far) call(t *testing.T, limit time.Duration, fn func(context.Context) error) error {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), limit)
	defer cancel()
	done := make(chan error, 1)
	go func() { done <- fn(ctx) }()
	select {
	case err := <-done:
		if err != nil && f.Secret != "" && strings.Contains(err.Error(), f.Secret) {
			t.Errorf("the error shows the secret: %v", strings.ReplaceAll(err.Error(), f.Secret, "SECRET"))
		}
		return err
	case <-time.After(limit + tooLong):
		t.Fatal("the call did not return after its context ended")
		return nil
	}
}

const (
	ample = 20 * time.Second       // for a call that should succeed
	brief = 300 * time.Millisecond // for a call that cannot
)
