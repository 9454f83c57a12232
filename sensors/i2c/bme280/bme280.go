// Package bme280 reads temperature and humidity of a BME280. It is a chip for the bench and for dry air: its cell does not stand
// condensation, and nothing it sends carries a checksum.
//
// periph's driver is not used, only compared with. It sets the humidity up once and never again, so that a chip that lost its supply shows
// 65 % for ever; it waits without limit for a status bit; it takes a blank calibration for a good one; and it drops the sign of a
// coefficient. Here every reading sets the chip up anew, asks for one measurement, waits a bounded number of times, and takes settings,
// status and results in one piece: a result counts only beside the settings it was asked for with. One of these is a number that changes
// with every reading and means nothing else, so that no old result can pass for a new one.
//
// Resolution 0.01 °C and 0.008 % RH; accuracy ±1 °C and ±3 % RH from 20 to 80 % RH (Bosch BME280 datasheet, from memory).
package bme280

import (
	"bytes"
	"fmt"
	"time"

	"periph.io/x/conn/v3/i2c"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
)

// Driver is the BME280.
var Driver = chip.Driver{
	Name:       sensors.ChipBME280,
	Addresses:  []uint16{0x76, 0x77},
	Quantities: []sensors.Quantity{sensors.Temperature, sensors.Humidity},
	Open:       open,
	Like:       like,
}

// Registers and what is written to them (Bosch BME280 datasheet, 5.4, from memory).
const (
	identity    = 0xd0
	controlHum  = 0xf2 // then status f3, ctrl_meas f4, config f5, and results from f7
	controlMeas = 0xf4
	config      = 0xf5
	lowBank     = 0x88
	highBank    = 0xe1

	isBME280 = 0x60
	isBMP280 = 0x58

	once     = 1      // ctrl_hum: humidity, one sample
	sleep    = 1 << 5 // ctrl_meas: temperature one sample, no pressure, asleep
	forced   = sleep | 1
	turns    = 7 // config: the pause between measurements that run by themselves, of no meaning here; the filter below it is off
	turnBits = 5
	busy     = 1 << 3 // status
	copying  = 1 << 0 // status: the calibration is being loaded

	notMeasured = 0x8000 // humidity, where ctrl_hum asks for none
)

// A measurement takes 6.4 ms at most: 1.25 + 2.3 + 2.3 + 0.575 (Bosch BME280 datasheet, 9.1, from memory). It is asked for so often.
const (
	conversion = 8 * time.Millisecond
	attempts   = 5
)

type hygrometer struct {
	bus         chip.Bus
	dev         i2c.Dev
	calibration calibration
	turn        byte // config as it was written last
}

func open(bus chip.Bus, address uint16, _ chip.Options) (chip.Chip, error) {
	c := &hygrometer{bus: bus, dev: i2c.Dev{Bus: bus, Addr: address}}
	if err := c.identify(); err != nil {
		return nil, err
	}
	if err := c.calibrate(); err != nil {
		return nil, err
	}
	before, err := c.load(config, 1)
	if err != nil {
		return nil, err
	}
	c.turn = before[0]
	return c, nil
}

// like asks for the identity.
func like(bus chip.Bus, address uint16, idle []byte) chip.Likeness {
	c := &hygrometer{bus: bus, dev: i2c.Dev{Bus: bus, Addr: address}}
	if idle == nil {
		return chip.No
	}
	if id, err := c.load(identity, 1); err != nil || id[0] != isBME280 {
		return chip.No
	}
	return chip.Sure
}

func (c *hygrometer) identify() error {
	id, err := c.load(identity, 1)
	if err != nil {
		return err
	}
	switch id[0] {
	case isBME280:
		return nil
	case isBMP280:
		return chip.Faultf(sensors.WrongProbe, "bme280: this is a BMP280, which measures no humidity: sold under the other's name it is of no use here")
	}
	return chip.Faultf(sensors.WrongProbe, "bme280: identity %02x, not %02x: another chip answers at this address", id[0], isBME280)
}

// calibrate reads the calibration twice: without a checksum, two equal readings are the only sign that none of it is noise.
func (c *hygrometer) calibrate() error {
	var banks [2][]byte
	for i := range banks {
		low, err := c.load(lowBank, 26)
		if err != nil {
			return err
		}
		high, err := c.load(highBank, 7)
		if err != nil {
			return err
		}
		banks[i] = append(low, high...)
	}
	if !bytes.Equal(banks[0], banks[1]) {
		return chip.Faultf(sensors.BadChecksum, "bme280: its calibration reads differently each time: noise on the line")
	}
	c.calibration = parse(banks[0][:26], banks[0][26:])
	if c.calibration.blank() {
		return chip.Faultf(sensors.NotConverted, "bme280: its calibration is blank: % x", banks[0])
	}
	return nil
}

// Read measures once.
func (c *hygrometer) Read() ([]float64, error) {
	c.turn = (c.turn>>turnBits + 1) & turns << turnBits
	setup := []byte{controlMeas, sleep, config, c.turn, controlHum, once, controlMeas, forced}
	if err := c.dev.Tx(setup, nil); err != nil {
		return nil, fmt.Errorf("bme280: asking for a measurement: %w", err)
	}
	for range attempts {
		c.bus.Sleep(conversion)
		b, err := c.load(controlHum, 13)
		if err != nil {
			return nil, err
		}
		if b[1]&(busy|copying) == 0 {
			return c.decode(b)
		}
	}
	return nil, chip.Faultf(sensors.TimedOut, "bme280: still measuring after %v", attempts*conversion)
}

// decode takes registers F2 to FE.
func (c *hygrometer) decode(b []byte) ([]float64, error) {
	if b[0] != once || b[2] != sleep || b[3] != c.turn {
		return nil, chip.Faultf(sensors.NotConverted, "bme280: settings %02x %02x %02x instead of %02x %02x %02x: it lost its supply or did not hear what it should do", b[0], b[2], b[3], once, sleep, c.turn)
	}
	t := int32(b[8])<<12 | int32(b[9])<<4 | int32(b[10])>>4
	h := int32(b[11])<<8 | int32(b[12])
	if h == notMeasured {
		return nil, chip.Faultf(sensors.NotConverted, "bme280: humidity %04x: it was not measured", h)
	}
	hundredths, fine := c.calibration.temperature(t)
	return []float64{float64(hundredths) / 100, float64(c.calibration.humidity(h, fine)) / 1024}, nil
}

func (c *hygrometer) load(register byte, n int) ([]byte, error) {
	b := make([]byte, n)
	if err := c.dev.Tx([]byte{register}, b); err != nil {
		return nil, fmt.Errorf("bme280: reading register %02x: %w", register, err)
	}
	return b, nil
}
