package exporter

import "time"

// trail is how far a delivery has come, by the keys of polls.
type trail struct {
	acked    int64 // the newest acknowledged
	settled  int64 // stored: acknowledged long enough ago to be believed
	next     int64 // will be settled when it is old enough
	nextAt   time.Time
	repeated int64 // up to here everything was acknowledged twice, or need not be
	high     int64 // the newest acknowledged before the last rewind
}

func newTrail(key int64) trail { return trail{acked: key, settled: key, next: key} }

// acknowledge moves on to key.
func (t *trail) acknowledge(key int64, now time.Time) {
	t.repeated = max(t.repeated, min(key, t.high))
	t.acked = key
	if t.next <= t.settled {
		t.next, t.nextAt = key, now
	}
}

// ripe reports whether there is something to settle that was acknowledged that long ago.
func (t *trail) ripe(now time.Time, age time.Duration) bool {
	return t.next > t.settled && now.Sub(t.nextAt) >= age
}

// settle says that next is stored.
func (t *trail) settle(now time.Time) {
	t.settled, t.next, t.nextAt = t.next, t.acked, now
}

// rewind goes back to what is surely kept, after a failure. It reports whether that is elsewhere.
func (t *trail) rewind() bool {
	was := t.acked
	t.high = max(t.high, t.acked)
	t.acked = max(t.settled, t.repeated)
	t.next = t.settled
	return t.acked != was
}

// first reports whether the poll was never acknowledged before.
func (t *trail) first(key int64) bool { return key > t.high }
