// Package i2ctest emulates chips at the level of their registers on a bus whose faults are scripted, so that the drivers run unchanged.
package i2ctest

import (
	"errors"
	"fmt"
	"sync"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// Chip is one emulated chip. Tx is one transaction: w is written, then r is read, either may be empty.
type Chip interface {
	Tx(w, r []byte) error
	Reset() // its supply was gone for a moment: registers as after power-on
}

// ErrNack is what periph says of an address that does not answer, in the kernel's words.
var ErrNack = errors.New("sysfs-i2c: remote I/O error")

var _ i2c.BusCloser = (*Bus)(nil)

// Bus holds emulated chips by address. Fault, where it is set, is asked before each transaction; its error is what the caller gets.
type Bus struct {
	mu    sync.Mutex
	Chips map[uint16]Chip
	Fault func(addr uint16, w, r []byte) error
}

// Tx does one transaction.
func (b *Bus) Tx(addr uint16, w, r []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.Fault != nil {
		if err := b.Fault(addr, w, r); err != nil {
			return err
		}
	}
	c, ok := b.Chips[addr]
	if !ok {
		return fmt.Errorf("address 0x%02x: %w", addr, ErrNack)
	}
	return c.Tx(w, r)
}

func (b *Bus) String() string                  { return "emulated" }
func (b *Bus) SetSpeed(physic.Frequency) error { return nil }

// Close does nothing.
func (b *Bus) Close() error { return nil }
