// Package tmp102 reads the TMP102 thermometer: dry boxes and the air of a cage.
//
// periph's driver measures. The chip has no identity and no checksum, and two states in which a value is false: its register holds 0 °C
// until the first conversion, and in extended mode, which the kernel's driver sets, periph reads half the temperature. So it is set to one
// conversion a second, which it never is after power-on, and the configuration word is compared after every value: one that changed means
// that the chip lost its supply or that somebody else uses it, and the value is dropped.
//
// Resolution 0.0625 °C, accuracy ±0.5 °C from -25 to 85 °C (TI SBOS397, from memory).
package tmp102

import (
	"encoding/binary"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/mmr"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/tmp102"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
)

// Driver is the TMP102.
var Driver = chip.Driver{
	Name:       sensors.ChipTMP102,
	Addresses:  []uint16{0x48, 0x49, 0x4a, 0x4b},
	Quantities: []sensors.Quantity{sensors.Temperature},
	Open:       open,
	Like:       like,
}

// The configuration word (TI SBOS397C, from memory; 60A0 after power-on).
const (
	configuration = 0x01 // register

	resolution = 0x6000                                  // always set
	extended   = 0x0010                                  // 13 bit instead of 12
	watched    = resolution | 0x0300 | 0x00c0 | extended // and shutdown, thermostat mode, conversion rate
	wanted     = resolution | 0x0040                     // running, 1 Hz
)

// conversion is the longest time of one (TI SBOS397, from memory).
const conversion = 35 * time.Millisecond

type thermometer struct {
	bus     chip.Bus
	address uint16
	word    mmr.Dev8
	dev     *tmp102.Dev // nil until its first sample was dropped
}

func open(bus chip.Bus, address uint16, _ chip.Options) (chip.Chip, error) {
	c := &thermometer{bus: bus, address: address}
	c.word = mmr.Dev8{Conn: &i2c.Dev{Bus: bus, Addr: address}, Order: binary.BigEndian}
	if err := c.arm(); err != nil {
		return nil, err
	}
	return c, nil
}

// like looks at the configuration: the chip has no identity. The four lowest bits of the word are always clear (TI SBOS397C, from memory).
func like(bus chip.Bus, address uint16, idle []byte) chip.Likeness {
	if idle == nil {
		return chip.No
	}
	word := mmr.Dev8{Conn: &i2c.Dev{Bus: bus, Addr: address}, Order: binary.BigEndian}
	if v, err := word.ReadUint16(configuration); err != nil || v&resolution != resolution || v&0x000f != 0 {
		return chip.No
	}
	return chip.Maybe
}

// state reads the configuration, and refuses what is no TMP102 or is somebody else's.
func (c *thermometer) state() (uint16, error) {
	v, err := c.word.ReadUint16(configuration)
	switch {
	case err != nil:
		return 0, fmt.Errorf("tmp102: reading the configuration: %w", err)
	case v == 0xffff || v&resolution != resolution:
		return 0, chip.Faultf(sensors.WrongProbe, "tmp102: configuration %04x is none that this chip can have: another chip answers, or the bus is held", v)
	case v&extended != 0:
		return 0, chip.Faultf(sensors.Malformed, "tmp102: configuration %04x: the kernel's driver uses this chip too; take it from there with source: kernel, or remove the driver and cut the chip's supply for a moment", v)
	}
	return v, nil
}

// arm sets the chip running and throws the first sample away.
func (c *thermometer) arm() error {
	c.dev = nil
	if _, err := c.state(); err != nil {
		return err
	}
	dev, err := tmp102.NewI2C(c.bus, c.address, &tmp102.Opts{SampleRate: tmp102.RateOneHertz})
	if err != nil {
		return fmt.Errorf("tmp102: setting it up: %w", err)
	}
	v, err := c.state()
	if err != nil {
		return err
	}
	if v&watched != wanted {
		return chip.Faultf(sensors.WrongProbe, "tmp102: configuration %04x does not become %04x: another chip answers at this address", v, wanted)
	}
	c.bus.Sleep(conversion)
	if err := dev.Sense(&physic.Env{}); err != nil {
		return fmt.Errorf("tmp102: dropping the first sample: %w", err)
	}
	c.dev = dev
	return nil
}

// Read looks at the configuration after the temperature, so that nothing can come between them unseen.
func (c *thermometer) Read() ([]float64, error) {
	if c.dev == nil {
		if err := c.arm(); err != nil {
			return nil, err
		}
	}
	var env physic.Env
	if err := c.dev.Sense(&env); err != nil {
		return nil, fmt.Errorf("tmp102: reading the temperature: %w", err)
	}
	v, err := c.state()
	if err != nil {
		return nil, err
	}
	if v&watched != wanted {
		if err := c.arm(); err != nil {
			return nil, err
		}
		return nil, chip.Faultf(sensors.Settling, "tmp102: configuration %04x instead of %04x: it lost its supply for a moment, the value is dropped", v, wanted)
	}
	return []float64{env.Temperature.Celsius()}, nil
}
