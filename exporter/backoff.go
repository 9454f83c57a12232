package exporter

import (
	"errors"
	"math/rand/v2"
	"time"
)

// backOff counts failures in a row and says how long to wait after each.
type backOff struct {
	longest time.Duration
	step    time.Duration
}

// next returns the wait after one more failure: the step less up to half of it, so that sinks that failed together do not
// come back together.
func (b *backOff) next() time.Duration {
	b.step = min(max(2*b.step, firstBackOff), b.longest)
	return b.step - time.Duration(rand.Int64N(int64(b.step)/2+1))
}

func (b *backOff) reset() { b.step = 0 }

// after returns the wait after err, and whether the other side asked for it.
func (b *backOff) after(err error) (wait time.Duration, asked bool) {
	wait = b.next()
	var polite interface{ RetryAfter() time.Duration }
	if errors.As(err, &polite) && polite.RetryAfter() > 0 {
		return min(polite.RetryAfter(), maxRetryAfter), true
	}
	return wait, false
}
