package sensors

import "time"

// Probe is one configured probe: who it is, what it measures and how often to expect it.
type Probe struct {
	ID         string        // as in the configuration and in readings files
	Quantities []Quantity    // what it can deliver, in Quantities order
	Chip       string        // declared chip, "" when unknown; error patterns of a chip apply only where it is declared
	Interval   time.Duration // expected spacing of readings
	StaleAfter time.Duration // a value older than this is no value
	Offset     Offset        // what the screen adds to its values
}

// StaleLimit is the longest time a value may be held as current, whatever its probe's interval.
// A quarter of a day bridges the longest gap of honest hourly weather reports (6 h); ours, no source.
const StaleLimit = 6 * time.Hour

// DefaultStaleAfter is three missed readings, at least 90 s, at most StaleLimit.
func DefaultStaleAfter(interval time.Duration) time.Duration {
	return min(max(3*interval, 90*time.Second), StaleLimit)
}

// Measures reports whether the probe delivers q.
func (p Probe) Measures(q Quantity) bool {
	for _, have := range p.Quantities {
		if have == q {
			return true
		}
	}
	return false
}
