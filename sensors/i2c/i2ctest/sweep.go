package i2ctest

import (
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/physic"

	"nestmon/sensors/i2c/chip"
)

// trouble is what becomes of a transaction.
type trouble struct {
	name  string
	lasts bool // and of all others until the driver has returned
	tx    func(c Chip, w, r []byte) error
}

var troubles = []trouble{
	{"is not answered", false, nack},
	{"is answered, and the answer lost", false, func(c Chip, w, r []byte) error { _ = c.Tx(w, r); return nack(c, w, r) }},
	{"and all after it are not answered", true, nack},
	{"meets a line held low", true, func(_ Chip, _, r []byte) error { return held(r, 0) }},
	{"meets a line held high", true, func(_ Chip, _, r []byte) error { return held(r, 0xff) }},
	{"finds that the supply was gone", false, func(c Chip, w, r []byte) error { c.Reset(); return c.Tx(w, r) }},
	{"is cut off by a loss of supply", false, func(c Chip, w, r []byte) error { c.Reset(); return nack(c, w, r) }},
}

func nack(Chip, []byte, []byte) error { return ErrNack }

func held(r []byte, level byte) error {
	for i := range r {
		r[i] = level
	}
	return nil
}

// troubled is a bus with one chip on it, whose transaction number at meets trouble.
type troubled struct {
	Chip
	trouble
	at, n int
	going bool
	over  bool // no more trouble
}

func (b *troubled) Tx(_ uint16, w, r []byte) error {
	b.going = !b.over && (b.going && b.lasts || b.n == b.at)
	b.n++
	if b.going {
		return b.tx(b.Chip, w, r)
	}
	return b.Chip.Tx(w, r)
}

func (b *troubled) String() string                  { return "troubled" }
func (b *troubled) SetSpeed(physic.Frequency) error { return nil }

const (
	interval = 10 * time.Second // between two readings
	exposed  = 3                // readings that may meet trouble
	patience = 3                // readings by which a driver must have recovered
)

// Sweep troubles every transaction of a driver in turn, while it makes a chip ready and while it reads. Whatever the trouble, a reading is
// what the chip measured or an error without a value, and some readings later it is what the chip measured again.
func Sweep(t *testing.T, d chip.Driver, options chip.Options, fresh func() Chip, want ...float64) {
	t.Helper()
	for _, what := range troubles {
		t.Run("a transaction "+what.name, func(t *testing.T) {
			for at, more := 0, true; more && !t.Failed(); at++ {
				synctest.Test(t, func(t *testing.T) {
					b := &troubled{Chip: fresh(), trouble: what, at: at}
					sweep(t, d, options, b, want)
					more = b.n > at && b.over
				})
			}
		})
	}
}

func sweep(t *testing.T, d chip.Driver, options chip.Options, b *troubled, want []float64) {
	var c chip.Chip
	for i := range exposed + patience {
		if i == exposed {
			b.over = true
		}
		got, err := ready(&c, d, b, options)
		b.going = false
		switch last := i == exposed+patience-1; {
		case err != nil && got != nil:
			t.Errorf("transaction %d: %v beside an error: %v", b.at, got, err)
		case err == nil && !same(got, want):
			t.Errorf("transaction %d, reading %d: got %v, want %v or an error", b.at, i, got, want)
		case err != nil && last:
			t.Errorf("transaction %d: still, %d readings after: %v", b.at, patience, err)
		}
		time.Sleep(interval)
	}
}

// ready reads the chip, and makes it ready before where that has not succeeded.
func ready(c *chip.Chip, d chip.Driver, b *troubled, options chip.Options) ([]float64, error) {
	if *c == nil {
		made, err := d.Open(Timed{b}, d.Addresses[0], options)
		if err != nil {
			return nil, err
		}
		*c = made
	}
	return (*c).Read()
}
