package i2c

import (
	"fmt"
	"time"

	"periph.io/x/conn/v3/physic"

	"nestmon/sensors/i2c/chip"
)

// mux is a PCA9548 or TCA9548: one register, a bit for each channel, written and read without an address of its own. After power-on and
// after a reset no channel is open (TI PCA9548A, SCPS143; the layout is also that of periph's pca9548).
type mux struct {
	line *line
	addr uint16
	open bool // it was set to a channel and has not been seen closed since
}

// port is one channel of a mux, as a bus for the drivers.
type port struct {
	mux     *mux
	channel int
}

var _ chip.Bus = port{}

func (p port) String() string {
	return fmt.Sprintf("%s mux %s channel %d", p.mux.line.name, hex(p.mux.addr), p.channel)
}

func (p port) Now() time.Time        { return p.mux.line.Now() }
func (p port) Sleep(d time.Duration) { p.mux.line.Sleep(d) }

func (p port) SetSpeed(f physic.Frequency) error { return p.mux.line.SetSpeed(f) }

// Tx does one transaction with a chip behind the channel, and believes it only when the multiplexer showed that channel before and after.
func (p port) Tx(addr uint16, w, r []byte) error {
	return p.mux.line.try(func() error {
		for _, m := range p.mux.line.muxes {
			if m != p.mux {
				if err := m.shut(); err != nil {
					return err
				}
			}
		}
		if err := p.mux.set(1 << p.channel); err != nil {
			return err
		}
		err := p.mux.line.once(addr, w, r)
		if err == nil {
			err = p.mux.verify(1 << p.channel)
		}
		if shut := p.mux.set(0); err == nil {
			err = shut
		}
		return err
	}, r)
}

// set opens the channels of the mask and reads back whether they are.
func (m *mux) set(mask byte) error {
	err := m.line.once(m.addr, []byte{mask}, nil)
	if mask != 0 && (err == nil || kindOf(err) != nack) { // it may have heard
		m.open = true
	}
	if err != nil {
		return fmt.Errorf("multiplexer: %w", err)
	}
	if err := m.verify(mask); err != nil {
		return err
	}
	m.open = mask != 0
	return nil
}

func (m *mux) verify(mask byte) error {
	var b [1]byte
	if err := m.line.once(m.addr, nil, b[:]); err != nil {
		return fmt.Errorf("multiplexer: %w", err)
	}
	if b[0] != mask {
		err := &moved{fmt.Errorf("%s: multiplexer %s shows channels %08b instead of %08b: it lost its supply, or another program switches it", m.line.name, hex(m.addr), b[0], mask)}
		m.line.counts.errors[switched].Add(1)
		return err
	}
	return nil
}

// shut closes a multiplexer whose chips are not meant. One that does not acknowledge and was not left open is taken for closed: its cable
// may be out, and its neighbours are not to go silent with it.
func (m *mux) shut() error {
	err := m.set(0)
	if err != nil && kindOf(err) == nack && !m.open {
		return nil
	}
	return err
}
