// Package ina219 reads the voltage and the current of a battery with an INA219: it warns hours before the board goes dark.
//
// periph's driver reads the registers. Of what it returns only the voltage of the bus and that over the shunt are used, and the current is
// the second through the resistance: the current that the chip computes is 0 A after a loss of supply, in good order. periph's range of
// 16 V is widened to the whole, since a battery of 24 V would be shown as 16. Settings and calibration are compared after every value: both
// are others after power-on, when the registers hold 0 V until the first measurement, and no value counts beside them.
//
// Resolution 4 mV and 10 µV over the shunt, 0.1 mA at 0.1 Ω; ±0.5 % (TI SBOS448, from memory). More than 26 V destroys the chip.
package ina219

import (
	"encoding/binary"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/mmr"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/ina219"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
)

// Driver is the INA219.
var Driver = chip.Driver{
	Name: "ina219",
	Addresses: []uint16{
		0x40, 0x41, 0x42, 0x43, 0x44, 0x45, 0x46, 0x47, 0x48, 0x49, 0x4a, 0x4b, 0x4c, 0x4d, 0x4e, 0x4f,
	},
	Quantities: []sensors.Quantity{sensors.Voltage, sensors.Current},
	Open:       open,
	Like:       like,
}

// UsualOhm is the shunt of its usual board, Ω.
const UsualOhm = 0.1

// Registers and settings (TI SBOS448, from memory; 399F after power-on).
const (
	settings    = 0x00
	calibration = 0x05

	wanted    = 0x3fff                    // 32 V, ±320 mV, mean of 128 samples, both without end
	mostShunt = 320 * physic.MilliVolt    // beyond it the register stands still
	averaging = 2 * 70 * time.Millisecond // 68.1 ms for each of the two
)

type meter struct {
	bus       *chip.Witness
	registers mmr.Dev8
	dev       *ina219.Dev
	ohm       float64
	opts      ina219.Opts
	mark      uint16 // the calibration, 0 until the chip is ready
}

func open(bus chip.Bus, address uint16, options chip.Options) (chip.Chip, error) {
	c := &meter{bus: &chip.Witness{Bus: bus}, ohm: options.ShuntOhm}
	if c.ohm == 0 {
		c.ohm = UsualOhm
	}
	if c.ohm < 0 {
		return nil, fmt.Errorf("ina219: a shunt of %g Ω; write what is printed on it, such as 0.1", c.ohm)
	}
	c.registers = mmr.Dev8{Conn: &i2c.Dev{Bus: c.bus, Addr: address}, Order: binary.BigEndian}
	c.opts = ina219.Opts{
		Address:       int(address),
		SenseResistor: physic.ElectricResistance(c.ohm * float64(physic.Ohm)),
		// The most that the shunt register can show: what the chip computes from it for itself then cannot overflow.
		MaxCurrent: physic.ElectricCurrent(float64(mostShunt) / c.ohm),
	}
	if err := c.arm(); err != nil {
		return nil, err
	}
	return c, nil
}

// like looks at the settings: the chip has no identity. Two bits of them are always clear, and those of the mode are not while it measures
// (TI SBOS448, from memory).
func like(bus chip.Bus, address uint16, idle []byte) chip.Likeness {
	if idle == nil {
		return chip.No
	}
	registers := mmr.Dev8{Conn: &i2c.Dev{Bus: bus, Addr: address}, Order: binary.BigEndian}
	if v, err := registers.ReadUint16(settings); err != nil || v&0xc000 != 0 || v&0x0007 == 0 {
		return chip.No
	}
	return chip.Maybe
}

// arm sets the chip up, keeps its calibration as a mark and waits until the registers hold a measurement.
func (c *meter) arm() error {
	c.mark = 0
	dev, err := ina219.New(c.bus, &c.opts)
	if err != nil {
		return fmt.Errorf("ina219: setting it up: %w", c.bus.Because(err))
	}
	if err := c.registers.WriteUint16(settings, wanted); err != nil {
		return fmt.Errorf("ina219: setting it up: %w", err)
	}
	set, mark, err := c.state()
	if err != nil {
		return err
	}
	if set != wanted || mark == 0 || mark == 0xffff {
		return chip.Faultf(sensors.WrongProbe, "ina219: settings and calibration are %04x and %04x right after they were written: another chip answers at this address, or the bus is held", set, mark)
	}
	c.bus.Sleep(averaging)
	c.dev, c.mark = dev, mark
	return nil
}

func (c *meter) state() (set, mark uint16, err error) {
	if set, err = c.registers.ReadUint16(settings); err != nil {
		return 0, 0, fmt.Errorf("ina219: reading the settings: %w", err)
	}
	if mark, err = c.registers.ReadUint16(calibration); err != nil {
		return 0, 0, fmt.Errorf("ina219: reading the calibration: %w", err)
	}
	return set, mark, nil
}

// Read looks at settings and calibration after the values, so that nothing can come between them unseen.
func (c *meter) Read() ([]float64, error) {
	if c.mark == 0 {
		if err := c.arm(); err != nil {
			return nil, err
		}
	}
	power, err := c.dev.Sense()
	if err != nil {
		return nil, fmt.Errorf("ina219: measuring: %w", c.bus.Because(err))
	}
	set, mark, err := c.state()
	if err != nil {
		return nil, err
	}
	if set != wanted || mark != c.mark {
		before := c.mark
		if err := c.arm(); err != nil {
			return nil, err
		}
		return nil, chip.Faultf(sensors.Settling, "ina219: settings and calibration %04x and %04x instead of %04x and %04x: it lost its supply for a moment, the value is dropped", set, mark, wanted, before)
	}
	if max(power.Shunt, -power.Shunt) >= mostShunt {
		return nil, chip.Faultf(sensors.OutOfRange, "ina219: %v over the shunt is all it can show; use a shunt of less than %g Ω, or look whether it is bypassed", power.Shunt, c.ohm)
	}
	return []float64{volts(power.Voltage), volts(power.Shunt) / c.ohm}, nil
}

func volts(v physic.ElectricPotential) float64 { return float64(v) / float64(physic.Volt) }
