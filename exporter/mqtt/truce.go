package mqtt

import (
	"sync"
	"time"
)

// The broker ends a connection when another client comes with the same id, that one comes back, and so on in turn. So many connections in a
// row that the broker ended so soon are such a quarrel. Then we stay away for a while, and for twice as long each further time, instead of
// letting $state change for ever. All ours, no source; the library comes back after a second.
const (
	quarrelsome = 4
	steady      = 10 * time.Second
	firstRest   = 5 * time.Minute
	mostDoubled = 7 // over ten hours
)

// truce remembers connections that ended soon, by the broker. It may be used from any goroutine.
type truce struct {
	mu     sync.Mutex
	short  int // in a row
	rests  int
	until  time.Time
	reason error
}

// ended notes a connection that lasted so long, and whether the broker ended it. It returns how many that one ended soon in a row where
// that is a quarrel, else 0. One that lasted ends the row however it ended itself.
func (t *truce) ended(lasted time.Duration, byBroker bool, now time.Time) int {
	t.mu.Lock()
	defer t.mu.Unlock()
	switch {
	case lasted >= steady:
		t.short, t.rests = 0, 0
		return 0
	case !byBroker:
		return 0
	}
	if t.short++; t.short < quarrelsome {
		return 0
	}
	t.until = now.Add(firstRest << min(t.rests, mostDoubled))
	t.rests++
	return t.short
}

func (t *truce) because(err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.reason = err
}

// resting is why no connection is to be made now, nil when one may be.
func (t *truce) resting(now time.Time) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	if now.Before(t.until) {
		return t.reason
	}
	return nil
}
