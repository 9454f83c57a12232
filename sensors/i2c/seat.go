package i2c

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"periph.io/x/conn/v3/i2c"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
)

// How often a chip that answers wrongly is asked in one reading before it counts as failed and is made ready anew; and how long one that
// cannot be made ready is left alone: not at all at first, then firstRest, doubled by each further failure up to mostRest, all up to
// jitter longer or shorter so that probes do not all come at once. Ours, no source.
const (
	tries     = 2
	firstRest = 10 * time.Second
	mostRest  = time.Minute
	jitter    = 0.2
)

// seat is the place of one chip, and what is known of the chip in it.
type seat struct {
	driver  chip.Driver
	options chip.Options
	line    *line
	bus     i2c.Bus // the line, or a port of a multiplexer on it
	address uint16
	random  func() float64

	chip    chip.Chip   // nil until it was made ready
	misses  int         // failures to make it ready in a row
	until   time.Time   // it is not asked before
	because *chip.Fault // why not
}

// ask reads the chip of a seat.
func (s *Source) ask(ctx context.Context, at *seat) ([]float64, *chip.Fault) {
	if now := s.Now(); now.Before(at.until) && at.until.Sub(now) <= max(mostRest*2, at.because.Rest) { // a clock set back must not lengthen it
		return nil, at.because
	}
	var fault *chip.Fault
	for range tries {
		switch {
		case s.closed.Load():
			return nil, chip.Faultf(sensors.BusDown, "bus is closed")
		case ctx.Err() != nil:
			return nil, chip.Faultf(sensors.TimedOut, "not asked: the time of this poll was over")
		}
		if at.chip == nil {
			if fault = at.ready(); fault != nil {
				at.misses++
				at.rest(s.Now(), fault, at.wait())
				return nil, fault
			}
			at.misses = 0
		}
		var values []float64
		if values, fault = at.read(); fault == nil {
			return values, nil
		}
		if fault.Reason != sensors.NoAnswer && fault.Reason != sensors.BadChecksum {
			break
		}
	}
	if fault.Reason != sensors.Settling { // a chip that asks for patience is well
		at.chip = nil
	}
	at.rest(s.Now(), fault, 0)
	return nil, fault
}

// rest leaves the chip alone for a while, at least as long as its fault asks for.
func (at *seat) rest(now time.Time, fault *chip.Fault, wait time.Duration) {
	at.because, at.until = fault, now.Add(max(wait, fault.Rest))
}

func (at *seat) wait() time.Duration {
	if at.misses < 2 {
		return 0
	}
	wait := min(firstRest<<min(at.misses-2, 8), mostRest)
	return time.Duration(float64(wait) * (1 + jitter*(2*at.random()-1)))
}

// ready makes the chip ready.
func (at *seat) ready() *chip.Fault {
	at.line.begin()
	c, err := at.driver.Open(at.bus, at.address, at.options)
	if fault := at.blame(err); fault != nil {
		return fault
	}
	at.chip = c
	return nil
}

// read measures once, and looks at what the driver may not have seen.
func (at *seat) read() ([]float64, *chip.Fault) {
	at.line.begin()
	values, err := at.chip.Read()
	if fault := at.blame(err); fault != nil {
		return nil, fault
	}
	if len(values) != len(at.driver.Quantities) {
		return nil, chip.Faultf(sensors.Malformed, "%d values instead of %d", len(values), len(at.driver.Quantities))
	}
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, chip.Faultf(sensors.Malformed, "%v is no measurement", v)
		}
	}
	return values, nil
}

// blame finds the reason of an error: what the driver says, else what failed on the bus. A transaction that failed and that the driver
// says nothing of spoils its result too.
func (at *seat) blame(err error) *chip.Fault {
	var fault *chip.Fault
	failed := at.line.ended()
	switch {
	case errors.As(err, &fault):
		return &chip.Fault{Reason: fault.Reason, Story: err.Error(), Rest: fault.Rest}
	case failed != nil && err == nil:
		err = fmt.Errorf("a transaction failed meanwhile: %w", failed)
	case err == nil:
		return nil
	case failed == nil:
		return &chip.Fault{Reason: sensors.Malformed, Story: err.Error()}
	}
	return &chip.Fault{Reason: kinds[kindOf(failed)].fault, Story: err.Error()}
}
