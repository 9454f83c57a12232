// Package chip is what every chip on an I2C bus has in common, as nestmon sees it.
//
// Each chip has a folder of its own beside this package, named as its datasheet names it, which exports one Driver. A Chip is built anew
// when it has failed for long: recovery is not in the drivers. Whatever a chip says of its own damage, loss of supply or missing
// conversion becomes a Fault here, and never a value.
package chip

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"

	"nestmon/sensors"
)

// Bus is what a driver talks over, and the time it waits by.
type Bus interface {
	i2c.Bus
	Now() time.Time
	Sleep(d time.Duration)
}

// Driver says what a chip delivers and how it is made ready.
type Driver struct {
	Name       string             // as in `chip:`
	Addresses  []uint16           // 7 bit, those it can be strapped to
	Quantities []sensors.Quantity // in Quantities order
	// Open makes the chip ready and checks that it is the one it should be: its identity where it has one, its heater off, nothing
	// continuous. It talks to the chip.
	Open func(bus Bus, address uint16, options Options) (Chip, error)
	// Like tells whether the chip answers, and changes nothing in what does: it writes the number of a register, or a command that asks who
	// is there and only to what does not answer a mere read. idle is what came of such a read, nil where nobody acknowledged it.
	Like  func(bus Bus, address uint16, idle []byte) Likeness
	First time.Duration // from Open to the first value, where Read does not wait for it
}

// Likeness is how surely what answers is a chip.
type Likeness uint8

// Likenesses.
const (
	No    Likeness = iota
	Maybe          // it has no identity, or its answer came damaged
	Sure
)

// Word reports whether the bytes begin with a word and its right checksum, as no chip's registers do.
func Word(b []byte) bool { return len(b) >= 3 && CRC8(b[:2]) == b[2] && (b[0] != 0 || b[1] != 0) }

// Options are what a person must say of a chip because it cannot tell. The zero value suits every chip that needs none.
type Options struct {
	ShuntOhm float64 // Ω, the resistor whose voltage an ina219 measures
}

// Chip is one chip that was made ready.
type Chip interface {
	// Read measures once and returns one value for each quantity of its Driver, °C, % RH, ppm, V or A. It returns no value beside an
	// error, and checks what a brown-out may have changed.
	Read() ([]float64, error)
}

// Fault is a reason with its story.
type Fault struct {
	Reason sensors.Fault
	Story  string
	Rest   time.Duration // for so long nothing the chip says may be used, whatever it says
}

func (f *Fault) Error() string { return f.Story }

// Faultf makes a Fault.
func Faultf(reason sensors.Fault, format string, args ...any) *Fault {
	return &Fault{Reason: reason, Story: fmt.Sprintf(format, args...)}
}
