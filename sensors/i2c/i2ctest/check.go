package i2ctest

import (
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"periph.io/x/conn/v3/i2c"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
)

// Timed gives a bus the time of package time, of which a synctest bubble takes none.
type Timed struct{ i2c.Bus }

// Now is the time.
func (Timed) Now() time.Time { return time.Now() }

// Sleep waits.
func (Timed) Sleep(d time.Duration) { time.Sleep(d) }

// With makes a bus with one chip on it, at the first address of its driver.
func With(d chip.Driver, c Chip) *Bus { return &Bus{Chips: map[uint16]Chip{d.Addresses[0]: c}} }

// Open makes a chip ready that must become so.
func Open(t *testing.T, d chip.Driver, b i2c.Bus) chip.Chip {
	t.Helper()
	c, err := d.Open(Timed{b}, d.Addresses[0], chip.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Reads checks that the next reading is want.
func Reads(t *testing.T, c chip.Chip, want ...float64) {
	t.Helper()
	if got, err := c.Read(); err != nil || !same(got, want) {
		t.Errorf("got %v, %v; want %v", got, err, want)
	}
}

// same allows for what periph's integers of 1e-9 K and 1e-5 % round.
func same(got, want []float64) bool {
	return slices.EqualFunc(got, want, func(a, b float64) bool { return math.Abs(a-b) < 2e-5 })
}

// Refuses checks that the next reading is a fault and no value.
func Refuses(t *testing.T, c chip.Chip, reason sensors.Fault) {
	t.Helper()
	got, err := c.Read()
	if got != nil {
		t.Errorf("got %v beside %v", got, err)
	}
	Is(t, err, reason)
}

// NotOpened checks that a chip cannot be made ready, and why.
func NotOpened(t *testing.T, d chip.Driver, b i2c.Bus, reason sensors.Fault) {
	t.Helper()
	c, err := d.Open(Timed{b}, d.Addresses[0], chip.Options{})
	if c != nil {
		t.Errorf("got a chip beside %v", err)
	}
	Is(t, err, reason)
}

// Answers checks an answer: a fault and no value, or want to within so much.
func Answers(t *testing.T, got []float64, err error, want []float64, reason sensors.Fault, within float64) {
	t.Helper()
	if reason != "" {
		if got != nil {
			t.Errorf("got %v beside %v", got, err)
		}
		Is(t, err, reason)
		return
	}
	if err != nil || !slices.EqualFunc(got, want, func(a, b float64) bool { return math.Abs(a-b) <= within }) {
		t.Errorf("got %v, %v; want %v", got, err, want)
	}
}

// Is checks that an error is a fault, and which.
func Is(t *testing.T, err error, reason sensors.Fault) {
	t.Helper()
	if f, ok := errors.AsType[*chip.Fault](err); !ok || f.Reason != reason {
		t.Errorf("got %v, want %q", err, reason)
	}
}

// Deaf is a bus on which, while Now is set, nothing that is only written arrives.
type Deaf struct {
	*Bus
	Now bool
}

// Tx does one transaction.
func (b *Deaf) Tx(addr uint16, w, r []byte) error {
	if b.Now && len(r) == 0 {
		return nil
	}
	return b.Bus.Tx(addr, w, r)
}
