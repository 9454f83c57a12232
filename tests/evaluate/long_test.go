package main

import "testing"

// long is called first by tests that take long in one goroutine: the race detector would make them ten times as long and find nothing.
// tests/run leaves them out of the raced tests by -short, and then runs each that asks for it, without.
func long(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("long, in one goroutine: runs without -short")
	}
}
