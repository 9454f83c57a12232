package archive

import (
	"testing"
	"time"
)

// The daemon asks at every poll; a write that hangs must not hold it up.
func TestSetAsideWaitsForNoWrite(t *testing.T) {
	a, err := Open(t.TempDir(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer a.Close() //nolint:errcheck // not what is tested
	a.mu.Lock()
	defer a.mu.Unlock()
	answered := make(chan []string, 1)
	go func() { answered <- a.SetAside() }()
	select {
	case <-answered:
	case <-time.After(10 * time.Second):
		t.Error("it waits for the write")
	}
}
