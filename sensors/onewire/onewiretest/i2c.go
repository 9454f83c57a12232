package onewiretest

import (
	"fmt"
	"sync/atomic"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
)

// Chip is what may be on it, among others the chips of i2ctest.
type Chip interface{ Tx(w, r []byte) error }

// I2C is the bus that a bridge is on.
type I2C struct {
	Chips map[uint16]Chip
	Fault func() error // asked before each transaction; what the caller gets, where it is not nil
	Open  atomic.Int64 // handles that were not closed
}

// Handle opens the bus.
func (b *I2C) Handle() (i2c.BusCloser, error) {
	b.Open.Add(1)
	return &handle{b}, nil
}

type handle struct{ bus *I2C }

func (h *handle) String() string                  { return "emulated I2C" }
func (h *handle) SetSpeed(physic.Frequency) error { return nil }
func (h *handle) Close() error                    { h.bus.Open.Add(-1); return nil }

func (h *handle) Tx(addr uint16, w, r []byte) error {
	if h.bus.Fault != nil {
		if err := h.bus.Fault(); err != nil {
			return err
		}
	}
	d, there := h.bus.Chips[addr]
	if !there {
		return fmt.Errorf("address 0x%02x: %w", addr, errNack)
	}
	return d.Tx(w, r)
}
