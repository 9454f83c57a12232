// Package i2ctest emulates chips at the level of their registers on a bus whose faults are scripted, so that the drivers run unchanged.
//
// Emulated chips take time by the clock, so that a test in a synctest bubble takes none. The bus is that of the wires: a chip that nobody
// meant answers too, behind a channel that was left open, and two that answer at once pull the line low for each other.
package i2ctest

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"

	"nestmon/sensors/i2c/chip"
)

// Chip is one emulated chip. Tx is one transaction: w is written, then r is read, either may be empty.
type Chip interface {
	Tx(w, r []byte) error
	Reset() // its supply was gone for a moment: registers as after power-on
}

// What periph says of a transaction that failed, in the kernel's words.
var (
	ErrNack    = errors.New("sysfs-i2c: remote I/O error")     // an address that does not answer
	ErrTimeout = errors.New("sysfs-i2c: connection timed out") // a line held low; an address that does not answer, on some controllers
	ErrIO      = errors.New("sysfs-i2c: input/output error")
)

var (
	_ i2c.BusCloser = (*Bus)(nil)
	_ chip.Bus      = (*Bus)(nil)
)

// Bus holds emulated chips by address. Fault, where it is set, is asked before each transaction; its error is what the caller gets.
type Bus struct {
	mu     sync.Mutex
	Chips  map[uint16]Chip
	Fault  func(addr uint16, w, r []byte) error
	script *script
	count  int // transactions so far
}

// Tx does one transaction.
func (b *Bus) Tx(addr uint16, w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.count++
	if b.Fault != nil {
		if err := b.Fault(addr, w, r); err != nil {
			return err
		}
	}
	if b.script != nil {
		return b.script.tx(b, addr, w, r)
	}
	return b.tx(addr, w, r)
}

// Transactions counts what was tried so far.
func (b *Bus) Transactions() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.count
}

// tx reaches every chip of that address that is connected. Zeros win on an open-drain line.
func (b *Bus) tx(addr uint16, w, r []byte) error {
	chips := b.connected(addr)
	if len(chips) == 0 {
		return fmt.Errorf("address 0x%02x: %w", addr, ErrNack)
	}
	var failed error
	answered := false
	all := make([]byte, len(r))
	for i := range all {
		all[i] = 0xff
	}
	for _, c := range chips {
		if err := c.Tx(w, r); err != nil {
			failed = err
			continue
		}
		answered = true
		for i := range all {
			all[i] &= r[i]
		}
	}
	if !answered {
		return failed
	}
	copy(r, all)
	return nil
}

// connected lists the chips that hear an address.
func (b *Bus) connected(addr uint16) (chips []Chip) {
	if c, ok := b.Chips[addr]; ok {
		chips = append(chips, c)
	}
	for _, c := range b.Chips {
		if m, ok := c.(*PCA9548); ok {
			chips = append(chips, m.behind(addr)...)
		}
	}
	return chips
}

// each visits every chip of the bus, in no order.
func (b *Bus) each(visit func(Chip)) {
	for _, c := range b.Chips {
		visit(c)
		if m, ok := c.(*PCA9548); ok {
			for _, channel := range m.Channels {
				for _, c := range channel {
					visit(c)
				}
			}
		}
	}
}

func (b *Bus) String() string { return "emulated" }

// SetSpeed does nothing.
func (b *Bus) SetSpeed(physic.Frequency) error { return nil }

// Now is the time.
func (b *Bus) Now() time.Time { return time.Now() }

// Sleep waits.
func (b *Bus) Sleep(d time.Duration) { time.Sleep(d) }

// Close does nothing.
func (b *Bus) Close() error { return nil }
