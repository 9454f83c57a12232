package i2c

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
)

// How often a chip that answers wrongly is asked in one reading before it counts as failed and is made ready anew; and how long one that
// goes on failing is left alone: not at all at first, then firstRest, doubled by each further failure up to mostRest, all up to jitter
// longer or shorter so that probes do not all come at once. Ours, no source.
const (
	tries     = 2
	firstRest = 10 * time.Second
	mostRest  = time.Minute
	jitter    = 0.2
	doublings = 8            // by which firstRest is beyond mostRest for long; more would overflow in the end
	restLimit = 2 * mostRest // a rest that seems longer, jitter and all, was begun by a clock that has been set back since
)

// seat is the place of one chip, and what is known of the chip in it.
type seat struct {
	driver  chip.Driver
	options chip.Options
	line    *line
	bus     chip.Bus // the line, or a port of a multiplexer on it
	address uint16
	random  func() float64

	chip    chip.Chip   // nil until it was made ready
	misses  int         // readings without a value in a row
	until   time.Time   // it is not asked before
	because *chip.Fault // why not
}

// answer is what came of asking a seat.
type answer struct {
	values []float64
	fault  *chip.Fault // nil beside values
	at     time.Time
	rested bool // it was left alone
}

// ask reads the chip of a seat, or leaves it alone.
func (s *Source) ask(ctx context.Context, at *seat) (a answer) {
	if a.fault = at.resting(s.Now()); a.fault != nil {
		a.rested = true
	} else {
		a.values, a.fault = s.measure(ctx, at)
	}
	a.at = s.Now()
	return a
}

// resting says why the chip is left alone, or nothing. A clock that was set back must not lengthen its rest.
func (at *seat) resting(now time.Time) *chip.Fault {
	if now.Before(at.until) && at.until.Sub(now) <= max(restLimit, at.because.Rest) {
		return at.because
	}
	return nil
}

func (s *Source) measure(ctx context.Context, at *seat) ([]float64, *chip.Fault) {
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
				break
			}
		}
		var values []float64
		if values, fault = at.read(); fault == nil {
			at.misses = 0
			return values, nil
		}
		if fault.Reason != sensors.NoAnswer && fault.Reason != sensors.BadChecksum {
			break
		}
	}
	at.missed(s.Now(), fault)
	return nil, fault
}

// missed drops the chip, to be made ready anew, and leaves it alone for a while. One that asks for patience is well and is kept.
func (at *seat) missed(now time.Time, fault *chip.Fault) {
	wait := fault.Rest
	if fault.Reason != sensors.Settling {
		at.chip = nil
		at.misses++
		wait = max(wait, at.backOff())
	}
	at.because, at.until = fault, now.Add(wait)
}

func (at *seat) backOff() time.Duration {
	if at.misses < 2 {
		return 0
	}
	wait := min(firstRest<<min(at.misses-2, doublings), mostRest)
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
