package sensors

import "context"

// Source is one bus with its probes.
//
// Read reads every probe of the bus once, one after another, and returns one Reading for each probe and quantity, value or
// fault: a probe that fails keeps its place. It may block for as long as its bus does and must return soon after ctx ends
// where the bus allows it. It is never called twice at once, and a slow or hung Read delays no other bus: the Poller
// sees to that. It never returns an error: whatever went wrong is said by the readings' faults.
//
// A probe that speaks by itself, less often than it is read, is told of once for each of its messages: by the next Read, with the
// time of the message, and with a fault beside the value where another message in between was none. Until it is overdue a Read
// leaves it out, for its old value is no new one and its silence no fault yet; then it is a fault at every Read. An answer that
// holds nothing is empty, never nil.
//
// A Source that also has Again() bool says by it, after each Read, whether another one before the next poll would take nothing from that; see Look.
//
// Close releases the bus. It may be called while Read hangs, and more than once.
type Source interface {
	// Bus names the bus, the same at every start: "w1", "kernel", "recorded".
	Bus() string
	// Probes lists what the bus was configured to hold, in a fixed order.
	Probes() []Probe
	Read(ctx context.Context) []Reading
	Close() error
}
