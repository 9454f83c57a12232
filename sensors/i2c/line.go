package i2c

import (
	"errors"
	"fmt"
	"runtime"
	"sync"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"nestmon/sensors/i2c/chip"
)

// How a transaction that failed is tried again; ours, no source. What failed for long, such as a time-out, is not: the bus would be held
// for that long again.
const (
	attempts = 2
	pause    = 5 * time.Millisecond
)

var errClosed = errors.New("bus is closed")

var _ chip.Bus = (*line)(nil)

// line is one bus. It opens itself when it is needed, lets one transaction pass at a time, counts, and remembers what failed: some drivers
// hide it, and some go on as if nothing had.
type line struct {
	name   string
	open   func(name string) (i2c.BusCloser, error)
	now    func() time.Time
	sleep  func(time.Duration)
	counts counts
	back   bool // a chip on it answers again, in this reading

	mu     sync.Mutex
	bus    i2c.BusCloser // nil until it is needed
	closed bool
	muxes  []*mux // that nestmon switches on this bus
	failed error  // of the first transaction that failed since begin
}

// begin forgets what failed, and ended tells what has since.
func (l *line) begin() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.failed = nil
}

func (l *line) ended() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.failed
}

// Tx does one transaction with a chip that hangs behind no multiplexer.
func (l *line) Tx(addr uint16, w, r []byte) error {
	return l.try(func() error { return l.once(addr, w, r) }, r)
}

// try runs a transaction, or several that belong together, again where that may help. After a failure r holds nothing.
func (l *line) try(tx func() error, r []byte) (err error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for n := range attempts {
		if n > 0 {
			l.sleep(pause)
		}
		if err = tx(); err == nil || !passing(err) {
			break
		}
	}
	if err != nil {
		clear(r)
		if l.failed == nil {
			l.failed = err
		}
	}
	return err
}

// once is one transaction on the wire.
func (l *line) once(addr uint16, w, r []byte) error {
	if err := l.ready(); err != nil {
		return err
	}
	deepen()
	began := l.now()
	err := l.bus.Tx(addr, w, r)
	l.counts.note(err, l.now().Sub(began))
	if err == nil {
		return nil
	}
	if kindOf(err) == gone {
		l.bus.Close() //nolint:errcheck // it is gone
		l.bus = nil
	}
	return fmt.Errorf("%s at %s: %w", l.name, hex(addr), err)
}

func (l *line) ready() error {
	if l.closed {
		return &lost{errClosed}
	}
	if l.bus != nil {
		return nil
	}
	bus, err := l.open(l.name)
	if err != nil {
		l.counts.note(&lost{err}, 0)
		return &lost{fmt.Errorf("opening %s: %w", l.name, err)}
	}
	l.bus = bus
	return nil
}

// deepen makes room on the stack before a transaction. periph hands the kernel the address of a variable on it as a mere number, which the
// stack's growing would not change with it (source of host/sysfs; not provoked).
//
//go:noinline
func deepen() {
	var room [stackRoom]byte
	runtime.KeepAlive(&room)
}

// stackRoom is several times what a transaction takes, bytes; ours, no source.
const stackRoom = 16 << 10

// close closes the bus, now or, where a transaction hangs in it, when that comes back: Close of periph's bus would wait for it.
func (l *line) close() error {
	if !l.mu.TryLock() {
		go func() {
			l.mu.Lock()
			defer l.mu.Unlock()
			l.shut() //nolint:errcheck // nobody is left to be told
		}()
		return nil
	}
	defer l.mu.Unlock()
	return l.shut()
}

func (l *line) shut() error {
	l.closed = true
	if l.bus == nil {
		return nil
	}
	err := l.bus.Close()
	l.bus = nil
	return err
}

// Now is the time of the source.
func (l *line) Now() time.Time { return l.now() }

// Sleep waits, between two transactions of a chip. Others may have theirs meanwhile.
func (l *line) Sleep(d time.Duration) { l.sleep(d) }

func (l *line) String() string { return l.name }

// SetSpeed is not for a driver to ask: it would change all buses of the board.
func (l *line) SetSpeed(physic.Frequency) error {
	return errors.New("the speed of a bus is set by the board")
}
