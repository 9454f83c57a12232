package main

import "testing"

// long is called by tests that take long, and in one goroutine: the race detector makes them ten times as long and finds nothing.
func long(t *testing.T) {
	t.Helper()
	if raced {
		t.Skip("long, in one goroutine: runs without the race detector")
	}
}
