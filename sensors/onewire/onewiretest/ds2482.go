package onewiretest

import (
	"errors"
	"time"
)

// errNack is what periph says of a byte that is not acknowledged, in the kernel's words.
var errNack = errors.New("sysfs-i2c: remote I/O error")

// Commands, registers and status bits of the DS2482-100 and -800 datasheets (from memory; those that periph's ds248x sends agree).
const (
	doReset, setPointer, writeConfig, selectChannel     = 0xf0, 0xe1, 0xd2, 0xc3
	wireReset, wireBit, wireWrite, wireRead, wireSearch = 0xb4, 0x87, 0xa5, 0x96, 0x78

	regStatus, regData, regConfig, regChannel = 0xf0, 0xe1, 0xc3, 0xd2

	isBusy, presence, shorted, level, wasReset, single, second, direction = 1, 2, 4, 8, 16, 32, 64, 128
)

// channels are the codes that select a channel and those that it is read back by.
var channels = [8]struct{ write, read byte }{
	{0xf0, 0xb8}, {0xe1, 0xb1}, {0xd2, 0xaa}, {0xc3, 0xa3}, {0xb4, 0x9c}, {0xa5, 0x95}, {0x96, 0x8e}, {0x87, 0x87},
}

const i2cBit = 10 * time.Microsecond // at 100 kHz

// DS2482 is a bridge from I2C to one line (-100) or eight (-800). It is a chip of i2ctest.
type DS2482 struct {
	Clock *Clock
	Lines []*Line // one or eight
	Stuck bool    // stays busy for ever
	Stray bool    // ignores channel selections

	status, config, data, pointer byte
	channel                       int
}

// NewDS2482 makes a bridge just powered.
func NewDS2482(clock *Clock, lines ...*Line) *DS2482 {
	d := &DS2482{Clock: clock, Lines: lines}
	d.Reset()
	return d
}

// Reset is its power-on state, which is also what the reset command does.
func (d *DS2482) Reset() {
	d.status, d.config, d.data, d.pointer, d.channel = wasReset, 0, 0, regStatus, 0
}

// Tx is one transaction. The pointer tells what is read.
func (d *DS2482) Tx(w, r []byte) error {
	d.Clock.Advance(time.Duration(9*(1+len(w))+9*(1+len(r))) * i2cBit)
	if len(w) > 0 {
		if err := d.command(w); err != nil {
			return err
		}
	}
	for i := range r {
		r[i] = d.register()
	}
	return nil
}

func (d *DS2482) line() *Line { return d.Lines[d.channel] }

func (d *DS2482) register() byte {
	switch d.pointer {
	case regData:
		return d.data
	case regConfig:
		return d.config
	case regChannel:
		return channels[d.channel].read
	}
	s := d.status
	if !d.line().Low {
		s |= level
	}
	if d.Stuck && s&wasReset == 0 {
		s |= isBusy
	}
	return s
}

func (d *DS2482) command(w []byte) error {
	if want, known := arguments[w[0]]; !known || len(w) != 1+want {
		return errNack
	}
	var arg byte
	if len(w) > 1 {
		arg = w[1]
	}
	switch w[0] {
	case doReset:
		d.Reset()
	case setPointer:
		if arg != regStatus && arg != regData && arg != regConfig && (arg != regChannel || len(d.Lines) == 1) {
			return errNack
		}
		d.pointer = arg
	case writeConfig:
		if arg>>4 != ^arg&0x0f {
			return errNack
		}
		d.config, d.pointer = arg&0x0f, regConfig
		d.status &^= wasReset
	case selectChannel:
		return d.choose(arg)
	default:
		d.wire(w[0], arg)
	}
	return nil
}

// arguments is how many bytes follow a command.
var arguments = map[byte]int{
	doReset: 0, setPointer: 1, writeConfig: 1, selectChannel: 1, wireReset: 0, wireBit: 1, wireWrite: 1, wireRead: 0, wireSearch: 1,
}

func (d *DS2482) choose(code byte) error {
	if len(d.Lines) == 1 {
		return errNack
	}
	for n, c := range channels {
		if c.write == code {
			if !d.Stray {
				d.channel = n
			}
			d.pointer = regChannel
			return nil
		}
	}
	return errNack
}

// wire does what the command asks of the 1-Wire line. Every such command leaves the pointer at the status.
func (d *DS2482) wire(command, arg byte) {
	d.pointer = regStatus
	switch command {
	case wireReset:
		present, short := d.line().Reset()
		d.set(presence, present)
		d.set(shorted, short)
	case wireBit:
		if arg&0x80 != 0 {
			d.set(single, d.line().Read())
		} else {
			d.line().Write(false)
		}
	case wireWrite:
		d.line().PutByte(arg)
	case wireRead:
		d.data = d.line().GetByte()
	case wireSearch:
		bit, complement, taken := d.line().Triplet(arg&0x80 != 0)
		d.set(single, bit)
		d.set(second, complement)
		d.set(direction, taken)
	}
}

func (d *DS2482) set(bit byte, on bool) {
	d.status &^= bit
	if on {
		d.status |= bit
	}
}
