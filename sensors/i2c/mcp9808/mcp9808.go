// Package mcp9808 reads the MCP9808 thermometer: dry boxes and the air of a cage.
//
// periph's driver measures. Round it stands what it does not do: the identity is read first, because a DS2482 bridge may answer at the
// same address; no value is looked at after an error; and the register of the critical limit, which nothing here uses as a limit, holds
// a mark. A chip that lost its supply has lost the mark too, and its temperature register holds 0 °C until the first conversion; a bus
// held low or high reads no mark at all. Without the mark there is no value.
//
// Resolution 0.0625 °C, accuracy ±0.5 °C at most from -20 to 100 °C (Microchip DS25095A, from memory).
package mcp9808

import (
	"encoding/binary"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/mmr"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/mcp9808"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
)

// Driver is the MCP9808.
var Driver = chip.Driver{
	Name:       "mcp9808",
	Addresses:  []uint16{0x18, 0x19, 0x1a, 0x1b, 0x1c, 0x1d, 0x1e, 0x1f},
	Quantities: []sensors.Quantity{sensors.Temperature},
	Open:       open,
	Like:       like,
}

// Registers, and what they hold (Microchip DS25095A: the identity on pp. 27-28, the rest from memory).
const (
	configuration = 0x01
	critical      = 0x04
	manufacturer  = 0x06
	device        = 0x07

	microchip = 0x0054
	family    = 0x04   // the high byte; the low one is the revision
	running   = 0x0000 // continuous, no alert, nothing locked
	mark      = 0x07d0 // 125 °C; 0 after power-on
)

// conversion is longer than one conversion at 0.0625 °C, 250 ms typical (Microchip DS25095A, from memory).
const conversion = 350 * time.Millisecond

type thermometer struct {
	bus       *chip.Witness
	registers mmr.Dev8
	dev       *mcp9808.Dev
	armed     bool
}

func open(bus chip.Bus, address uint16, _ chip.Options) (chip.Chip, error) {
	c := &thermometer{bus: &chip.Witness{Bus: bus}}
	c.registers = mmr.Dev8{Conn: &i2c.Dev{Bus: c.bus, Addr: address}, Order: binary.BigEndian}
	maker, err := c.registers.ReadUint16(manufacturer)
	if err != nil {
		return nil, fmt.Errorf("mcp9808: asking for the maker: %w", err)
	}
	model, err := c.registers.ReadUint16(device)
	if err != nil {
		return nil, fmt.Errorf("mcp9808: asking for the model: %w", err)
	}
	if maker != microchip || model>>8 != family {
		return nil, chip.Faultf(sensors.WrongProbe, "mcp9808: maker and model are %04x and %04x, not 0054 and 04xx: another chip answers at this address", maker, model)
	}
	if c.dev, err = mcp9808.New(c.bus, &mcp9808.Opts{Addr: int(address), Res: mcp9808.Maximum}); err != nil {
		return nil, fmt.Errorf("mcp9808: setting it up: %w", c.bus.Because(err))
	}
	if err := c.arm(); err != nil {
		return nil, err
	}
	return c, nil
}

// like asks for maker and model.
func like(bus chip.Bus, address uint16, idle []byte) chip.Likeness {
	registers := mmr.Dev8{Conn: &i2c.Dev{Bus: bus, Addr: address}, Order: binary.BigEndian}
	if idle == nil {
		return chip.No
	}
	if maker, err := registers.ReadUint16(manufacturer); err != nil || maker != microchip {
		return chip.No
	}
	if model, err := registers.ReadUint16(device); err != nil || model>>8 != family {
		return chip.No
	}
	return chip.Sure
}

// arm sets the chip running, leaves the mark and waits until the register holds a conversion.
func (c *thermometer) arm() error {
	c.armed = false
	for _, w := range []struct {
		register uint8
		value    uint16
	}{{configuration, running}, {critical, mark}} {
		if err := c.registers.WriteUint16(w.register, w.value); err != nil {
			return fmt.Errorf("mcp9808: setting it up: %w", err)
		}
	}
	c.bus.Sleep(conversion)
	c.armed = true
	return nil
}

// Read looks at the mark after the temperature, so that nothing can come between them unseen.
func (c *thermometer) Read() ([]float64, error) {
	if !c.armed {
		if err := c.arm(); err != nil {
			return nil, err
		}
	}
	var env physic.Env
	if err := c.dev.Sense(&env); err != nil {
		return nil, fmt.Errorf("mcp9808: reading the temperature: %w", c.bus.Because(err))
	}
	state, err := c.registers.ReadUint16(configuration)
	if err != nil {
		return nil, fmt.Errorf("mcp9808: reading the configuration: %w", err)
	}
	found, err := c.registers.ReadUint16(critical)
	if err != nil {
		return nil, fmt.Errorf("mcp9808: reading the mark: %w", err)
	}
	if state != running || found != mark {
		if err := c.arm(); err != nil {
			return nil, err
		}
		return nil, chip.Faultf(sensors.Settling, "mcp9808: configuration %04x and mark %04x instead of %04x and %04x: it lost its supply for a moment, the value is dropped", state, found, running, mark)
	}
	return []float64{env.Temperature.Celsius()}, nil
}
