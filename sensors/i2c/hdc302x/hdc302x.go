// Package hdc302x reads the HDC3020, HDC3021 and HDC3022 for temperature and humidity: nest air where condensation is certain.
//
// periph's driver measures; round it stands what it does not do. The chip measures by itself once a second and forgets to when its supply
// is gone, and then answers nothing; a bit of its status says so, and a chip that says so is made ready anew. Its heater, which another
// program may have left on and which nothing ever switches off, is switched off at the start and whenever it is found on, and what the
// chip says is not used until it has cooled. nestmon forgets that wait when it ends: one started anew within it finds the heater off and
// believes a chip that is still warm.
//
// Accuracy ±0.1 °C typical, ±0.2 at most between 0 and 50 °C; ±0.5 % typical, ±2 at most between 10 and 50 % (TI SNAS817D, electrical
// table). Water that stands on it for long shifts it even behind its membrane.
package hdc302x

import (
	"fmt"
	"strings"
	"time"

	"periph.io/x/conn/v3/i2c"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/hdc302x"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
)

// Driver is the HDC302x; two pins give it four addresses (TI SNAS817D, from memory).
var Driver = chip.Driver{
	Name:       "hdc302x",
	Addresses:  []uint16{0x44, 0x45, 0x46, 0x47},
	Quantities: []sensors.Quantity{sensors.Temperature, sensors.Humidity},
	Open:       open,
	Like:       like,
}

// Commands that periph's driver keeps to itself, as it writes them.
var (
	readMaker     = []byte{0x37, 0x81}
	readStatus    = []byte{0xf3, 0x2d}
	stopMeasuring = []byte{0x30, 0x93}
)

// maker is the manufacturer's number (periph's test of hdc302x, RIOT's hdc3020.h).
const maker = 0x3000

// cooling is how long a chip is not believed after its heater was on. Ours, no source: nobody has measured it yet.
const cooling = 5 * time.Minute

// rate is how often the chip measures: more would warm it (periph's comment, after the datasheet).
const rate = hdc302x.RateHertz

type sensor struct{ dev *hdc302x.Dev }

// open stops what the chip was doing, looks whether it is one, switches its heater off and lets it measure.
func open(bus chip.Bus, address uint16, _ chip.Options) (chip.Chip, error) {
	conn := i2c.Dev{Bus: bus, Addr: address}
	if err := conn.Tx(stopMeasuring, nil); err != nil {
		return nil, fmt.Errorf("hdc302x: stopping it: %w", err)
	}
	var b [3]byte
	if err := conn.Tx(readMaker, b[:]); err != nil {
		return nil, fmt.Errorf("hdc302x: asking for the maker: %w", err)
	}
	switch got := uint16(b[0])<<8 | uint16(b[1]); {
	case b == [3]byte{}:
		return nil, chip.Faultf(sensors.StuckLow, "hdc302x: all bytes are zero: the data line is held low; look for water or a damaged cable")
	case chip.CRC8(b[:2]) != b[2]:
		return nil, chip.Faultf(sensors.BadChecksum, "hdc302x: checksum of the maker is %02x, not %02x", b[2], chip.CRC8(b[:2]))
	case got != maker:
		return nil, chip.Faultf(sensors.WrongProbe, "hdc302x: maker is %04x, not %04x: another chip answers at this address", got, maker)
	}
	dev, err := hdc302x.NewI2C(bus, address, rate) // waits for the first measurement
	if err != nil {
		return nil, fmt.Errorf("hdc302x: letting it measure: %w", err)
	}
	s := &sensor{dev}
	status, err := s.status()
	if err != nil {
		return nil, err
	}
	return s, s.cool(status)
}

// like asks for the maker, and where that is refused for the status, which a chip that measures by itself must tell: whether it also names
// its maker then is not known here, and an SHT3x answers the second alike (Sensirion SHT3x datasheet, from memory).
func like(bus chip.Bus, address uint16, idle []byte) chip.Likeness {
	if idle != nil && !chip.Word(idle) {
		return chip.No
	}
	var b [3]byte
	if bus.Tx(address, readMaker, b[:]) != nil {
		if bus.Tx(address, readStatus, b[:]) == nil && chip.CRC8(b[:2]) == b[2] {
			return chip.Maybe
		}
		return chip.No
	}
	switch {
	case b == [3]byte{} || b == [3]byte{0xff, 0xff, 0xff}:
		return chip.No
	case !chip.Word(b[:]):
		return chip.Maybe
	case uint16(b[0])<<8|uint16(b[1]) != maker:
		return chip.No
	}
	return chip.Sure
}

// Read looks at the status first: a measurement after a loss of supply, or beside a heater that is on, is none.
func (s *sensor) Read() ([]float64, error) {
	status, err := s.status()
	if err != nil {
		return nil, err
	}
	if err := s.cool(status); err != nil {
		return nil, err
	}
	if status&hdc302x.StatusDeviceReset != 0 {
		return nil, chip.Faultf(sensors.NotConverted, "hdc302x: it lost its supply and stopped measuring; it is made ready anew")
	}
	var env physic.Env
	if err := s.dev.Sense(&env); err != nil {
		return nil, fault("measurement", err)
	}
	return []float64{env.Temperature.Celsius(), float64(env.Humidity) / float64(physic.PercentRH)}, nil
}

// status reads it, which clears what it tells of the past.
func (s *sensor) status() (hdc302x.StatusWord, error) {
	status, err := s.dev.ReadStatus()
	if err != nil {
		return 0, fault("status", err)
	}
	return status, nil
}

// cool switches the heater off where it is on.
func (s *sensor) cool(status hdc302x.StatusWord) error {
	if status&hdc302x.StatusHeaterEnabled == 0 {
		return nil
	}
	if err := s.dev.SetHeater(hdc302x.PowerOff); err != nil {
		return fmt.Errorf("hdc302x: switching the heater off: %w", err)
	}
	f := chip.Faultf(sensors.Settling, "hdc302x: its heater was on and was switched off; for %v it measures its own heat", cooling)
	f.Rest = cooling
	return f
}

// fault gives periph's complaint of a checksum its reason; the driver has no error value for it.
func fault(what string, err error) error {
	if strings.Contains(err.Error(), "invalid crc") {
		return chip.Faultf(sensors.BadChecksum, "hdc302x: %s: %v", what, err)
	}
	return fmt.Errorf("hdc302x: %s: %w", what, err)
}
