package onewire

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/i2c/i2creg"
	"periph.io/x/conn/v3/onewire"
	"periph.io/x/conn/v3/onewire/onewirereg"
	"periph.io/x/devices/v3/ds248x"
	"periph.io/x/host/v3/sysfs"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
)

// board is the root on a board.
const board = "/"

const (
	enable1Wire = "enable 1-Wire (on a Raspberry Pi: dtoverlay=w1-gpio,gpiopin=4 in config.txt, then restart the board)"
	enableI2C   = "enable I2C (on a Raspberry Pi: dtparam=i2c_arm=on in config.txt, then restart the board) and let the user nestmon into the group i2c"
)

// open opens a line of the board. A bus that was registered with periph under the line's name, or its I2C bus's, takes precedence: that
// is how an emulated one is put in its place. Other roots than "/" hold files only.
func open(root, bus string) (onewire.BusCloser, error) {
	l, err := parseLine(bus)
	switch {
	case err != nil:
		return nil, err
	case l.address != 0:
		return openBridge(root, l)
	case emulated(bus):
		return onewirereg.Open(bus)
	}
	master := filepath.Join(root, devices, fmt.Sprintf("w1_bus_master%d", l.master))
	if _, err := os.Stat(master); err != nil {
		return nil, ds18b20.Faultf(sensors.BusDown, "%s does not exist; %s", master, enable1Wire)
	}
	if root != board {
		return nil, fmt.Errorf("%s is a folder, and no bus of the kernel answers below %s", master, root)
	}
	return openNetlink(l.master)
}

// emulated reports whether a line was registered with periph.
func emulated(bus string) bool {
	return slices.ContainsFunc(onewirereg.All(), func(r *onewirereg.Ref) bool { return r.Name == bus })
}

// bridge is a DS2482 whose channel was chosen, and its I2C bus.
type bridge struct {
	*ds248x.Dev
	i2c    i2c.BusCloser
	unlock func() error
}

// Close gives the bridge to others.
func (b *bridge) Close() error { return errors.Join(b.i2c.Close(), b.unlock()) }

func openBridge(root string, l line) (onewire.BusCloser, error) {
	bus, unlock, err := openI2C(root, l)
	if err != nil {
		return nil, err
	}
	b := &bridge{i2c: bus, unlock: unlock}
	if b.Dev, err = ds248x.New(levelBlind{bus}, l.address, &ds248x.DefaultOpts); err == nil {
		err = b.choose(l.channel)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("DS2482 at 0x%02x of i2c-%d: %w", l.address, l.i2c, err), b.Close())
	}
	return b, nil
}

// choose selects a channel and looks whether it is selected: on another the numbers of the probes would not be there, or worse.
func (b *bridge) choose(channel int) error {
	if err := b.ChannelSelect(channel); err != nil {
		return fmt.Errorf("channel %d: %w; only a DS2482-800 has channels, leave it out for a DS2482-100", channel, err)
	}
	if at := b.SelectedChannel(); at != channel {
		return fmt.Errorf("channel %d was asked for, and %d is selected", channel, at)
	}
	return nil
}

func openI2C(root string, l line) (i2c.BusCloser, func() error, error) {
	name := fmt.Sprintf("i2c-%d", l.i2c)
	if slices.ContainsFunc(i2creg.All(), func(r *i2creg.Ref) bool { return r.Name == name }) {
		bus, err := i2creg.Open(name)
		return bus, func() error { return nil }, err
	}
	if root != board {
		return nil, nil, fmt.Errorf("below %s no device can be opened; leave --root out to read the board's own", root)
	}
	unlock, err := lock("/dev/"+name, l.address, lockLimit)
	if err != nil {
		return nil, nil, err
	}
	bus, err := sysfs.NewI2C(l.i2c)
	if err != nil {
		return nil, nil, errors.Join(err, unlock())
	}
	return bus, unlock, nil
}

// levelBlind lets the driver begin on a line that is held low. It expects the whole status byte of a bridge at rest, with the line's
// level in it, and would otherwise call the bridge missing; on a DS2482-800 a short of the first channel would take all others along.
// What holds the line low is found by the reset pulse.
type levelBlind struct{ i2c.Bus }

// The DS2482's status after a reset, and the bit that is set while the line is high (DS2482-100 datasheet, from memory).
const statusReset, lineHigh = 0x10, 0x08

func (b levelBlind) Tx(addr uint16, w, r []byte) error {
	err := b.Bus.Tx(addr, w, r)
	if err == nil && bytes.Equal(w, []byte{0xe1, 0xf0}) && len(r) == 1 && r[0] == statusReset {
		r[0] |= lineHigh
	}
	return err
}
