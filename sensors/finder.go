package sensors

import (
	"context"
	"time"
)

// Finder lists what hangs on the buses of one kind of source, without a configuration.
type Finder interface {
	// Find looks at every bus of the kind, one FoundBus each, and one with a Problem where there is none at all and no other kind tells so. A bus for which
	// held reports true is being read by a running daemon: of it Find lists only what the kernel tells without a transaction.
	Find(ctx context.Context, held func(bus string) bool) []FoundBus
}

// FoundBus is one bus and what hangs on it.
type FoundBus struct {
	Bus     string // as Source.Bus would name it
	Problem string // why it could not be looked at and what to do, "" when it could
	Probes  []Found
	Notes   []string // what else a person should know: addresses the kernel has, a multiplexer
	Behind  string   // what an I2C bus shows of it: i2c-1/0x18 of a bridge to 1-Wire
}

// Found is one probe on a bus, whether a configuration names it or not.
type Found struct {
	Identity string // what the configuration binds, unique within its kind of source: 28-00000a1b2c3d, i2c-1/0x44, i2c-1/0x70.3/0x44
	Chip     string // as ChipNames lists it, "" when nothing tells it
	Binds    string // the keys that bind it, as a configuration writes them: "source: w1, rom: 28-00000a1b2c3d"
	Note     string // what a person should know without a reading: a family that cannot be read, a number that noise made up
	// Candidates are the chips it may be where nothing tells which. Chip, Binds and Read are then empty.
	Candidates []string

	// Read reads the probe once. It opens what it needs and closes it again. Nil where the probe cannot be read. The probes of one bus
	// are read one after another.
	Read  func(ctx context.Context) Told
	Takes time.Duration // how long Read takes where all is well
}

// Told is what one reading of a found probe gives.
type Told struct {
	Readings []Reading // one for each quantity, value or fault, with the probe's id left empty
	Note     string    // what the reading gave away, or the story of its fault
	Binds    string    // what it adds to Found.Binds: "clone: d"
}
