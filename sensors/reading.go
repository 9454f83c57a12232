package sensors

import (
	"math"
	"time"
)

// Quantity is what a probe measures.
type Quantity uint8

// The quantities nestmon knows. Their order is the order of columns in readings files.
const (
	Temperature Quantity = iota // °C
	Humidity                    // % RH over water, 0 to 100
	CO2                         // ppm, absolute
	Voltage                     // V, of a battery
	Current                     // A, positive as it is wired: into the battery or out of it
	numQuantities
)

// Quantities lists every quantity in order.
var Quantities = [numQuantities]Quantity{Temperature, Humidity, CO2, Voltage, Current}

var quantityFacts = [numQuantities]struct {
	name, unit string
	step       float64
}{
	Temperature: {"temperature", "C", 0.01},
	Humidity:    {"humidity", "%", 0.01},
	CO2:         {"co2", "ppm", 1},
	Voltage:     {"voltage", "V", 0.01},
	Current:     {"current", "A", 0.01},
}

// String returns the plain name: temperature, humidity, co2, voltage or current.
func (q Quantity) String() string { return quantityFacts[q].name }

// Unit returns the unit as events print it: C, %, ppm, V or A.
func (q Quantity) Unit() string { return quantityFacts[q].unit }

// Step is the smallest difference the archive keeps, in the quantity's unit.
func (q Quantity) Step() float64 { return quantityFacts[q].step }

// Quantise rounds v to the archive's step, so that a decision made now and the same decision made from the archive agree.
func (q Quantity) Quantise(v float64) float64 {
	if q == CO2 {
		return math.Round(v)
	}
	return math.Round(v*100) / 100
}

// Reading is one value of one quantity of one probe, or the reason why there is none.
// Value means nothing when Fault is not empty.
type Reading struct {
	Probe    string
	Quantity Quantity
	Time     time.Time // when the probe converted
	Value    float64   // °C, % RH, ppm, V or A; never NaN
	Fault    Fault     // empty when the value may be used
	Suspect  bool      // plausible, but odd beside its neighbours; not enough for an alarm by itself
	Unsynced bool      // taken before the board's clock could be trusted
}

// OK reports whether the value may be used.
func (r Reading) OK() bool { return r.Fault == "" }

// Fault is why a reading holds no usable value. The list is closed, so that counters exist for every reason from the start.
type Fault string

// The reasons for a reading without a value.
const (
	NoAnswer     Fault = "no-answer"     // absent, unplugged, line stuck high
	BadChecksum  Fault = "bad-checksum"  // noise on the line
	StuckLow     Fault = "stuck-low"     // data line held at zero: water, chewed cable
	NotConverted Fault = "not-converted" // power-on or failed-conversion code instead of a measurement
	OutOfRange   Fault = "out-of-range"  // no nest has ever been that hot or cold
	Broken       Fault = "broken"        // the chip's own sign of damage
	Malformed    Fault = "malformed"     // bytes or text that are not a measurement
	WrongProbe   Fault = "wrong-probe"   // another family or clone than configured
	TimedOut     Fault = "timed-out"     // the bus did not come back within its time
	BusDown      Fault = "bus-down"      // the bus itself is missing or declared dead
	Settling     Fault = "settling"      // first sample after a probe came back, whose register may be stale; or nothing came yet
	Impossible   Fault = "impossible"    // two quantities that cannot both be true
)

// Faults lists every fault.
var Faults = []Fault{
	NoAnswer, BadChecksum, StuckLow, NotConverted, OutOfRange, Broken, Malformed, WrongProbe, TimedOut, BusDown, Settling, Impossible,
}
