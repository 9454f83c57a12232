package sensors

import "time"

// Health is what is known of one probe's conduct since the daemon started.
type Health struct {
	Probe     string
	Reads     uint64           // readings asked for, all quantities
	Rejected  map[Fault]uint64 // readings without a usable value, by reason
	LastGood  time.Time        // zero when there was none
	LastFault Fault            // the newest fault, kept after the probe recovered
	FaultAt   time.Time        // when LastFault was seen
	Errors    float64          // share of the readings of about the last hour without a usable value; valid where Reads is not 0
	Latest    []Reading        // the newest of each quantity, value or fault
}

// BusHealth is what is known of one bus.
type BusHealth struct {
	Bus      string
	Probes   []Probe       // on it
	Up       bool          // the last poll came back in time and, where there are several probes, one at least answered
	Linked   bool          // the way to its probes is known to be open, as to a broker that is connected: silence is then theirs
	Heard    time.Time     // the poll in which it last brought a value that may be used, in time or late
	Hung     time.Duration // how long the read in flight has been overdue, 0 when none is
	Took     time.Duration // the last completed read
	Restarts uint64        // panics recovered in its worker
	Traffic  *Traffic      // nil where the source does not count
}

// Traffic is what went over a bus since the start.
type Traffic struct {
	Transactions uint64
	Busy         time.Duration     // spent in them
	Errors       map[string]uint64 // transactions that failed, by what failed
}
