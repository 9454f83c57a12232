package bme280

import (
	"encoding/hex"
	"testing"
	"testing/synctest"

	"periph.io/x/conn/v3/i2c"
	playback "periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/bmxx80"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
	"nestmon/sensors/i2c/i2ctest"
)

const address = 0x76

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// The bytes on the wire; the datasheet gives no example of humidity.
func TestDatasheet(t *testing.T) {
	for _, row := range []struct {
		source    string
		low, high string // calibration from 88 and E1
		results   string // F7 to FE
		want      []float64
	}{
		{
			"a real part: calib280 and its raw values in periph's bmx280_test.go",
			"106e6c665e015d95b8d5d00b771e9dfff9ffac260ad8bd10004b", "6e01001305001e", "4b7700" + "7ff500" + "790b",
			[]float64{22.93, 64686.0 / 1024},
		},
		{
			"temperature: Bosch BMP280 datasheet, 3.12, from memory, as is; humidity: Linux 6.1 gives 49821 thousandths of these registers",
			"706b436718fc7d8e43d6d00b270b8c00f9ff8c3cf8c67017004b", "6a010014" + "0a001e", "655ac0" + "7eed00" + "7530",
			[]float64{25.08, 51017.0 / 1024},
		},
	} {
		t.Run(row.source, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				low, high := unhex(t, row.low), unhex(t, row.high)
				b := &playback.Playback{DontPanic: true, Ops: []playback.IO{
					{Addr: address, W: []byte{0xd0}, R: []byte{0x60}},
					{Addr: address, W: []byte{0x88}, R: low},
					{Addr: address, W: []byte{0xe1}, R: high},
					{Addr: address, W: []byte{0x88}, R: low},
					{Addr: address, W: []byte{0xe1}, R: high},
					{Addr: address, W: []byte{0xf5}, R: []byte{0xe0}},
					{Addr: address, W: []byte{0xf4, 0x20, 0xf5, 0, 0xf2, 1, 0xf4, 0x21}},
					{Addr: address, W: []byte{0xf2}, R: append([]byte{1, 0, 0x20, 0, 0}, unhex(t, row.results)...)},
				}}
				i2ctest.Reads(t, i2ctest.Open(t, Driver, b), row.want...)
				if err := b.Close(); err != nil {
					t.Error(err)
				}
			})
		})
	}
	if milli := 51017 * 1000 / 1024; milli != 49821 {
		t.Errorf("%d thousandths, Linux 6.1 says 49821", milli)
	}
}

// alone is what periph says of the chip without us.
func alone(t *testing.T, b i2c.Bus) (*bmxx80.Dev, func() (celsius, percent float64)) {
	t.Helper()
	dev, err := bmxx80.NewI2C(b, address, &bmxx80.Opts{Temperature: bmxx80.O1x, Humidity: bmxx80.O1x})
	if err != nil {
		t.Fatal(err)
	}
	return dev, func() (float64, float64) {
		var env physic.Env
		if err := dev.Sense(&env); err != nil {
			t.Fatal(err)
		}
		return env.Temperature.Celsius(), float64(env.Humidity) / float64(physic.PercentRH)
	}
}

// periph sets the humidity up once: a chip that lost its supply does not measure it, and its 8000 is decoded.
func TestALostSupplyIsNotDampAir(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewBME280()
		b := i2ctest.With(Driver, emulated)
		_, sense := alone(t, b)
		c := i2ctest.Open(t, Driver, b)
		emulated.Reset()
		if _, got := sense(); got < 65 || got > 80 {
			t.Errorf("periph alone: %v %%; it used to decode the code of no measurement", got)
		}
		i2ctest.Reads(t, c, 22.93, 64686.0/1024)
	})
}

func TestTheCodeOfNoMeasurementIsNoHumidity(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewBME280()
		emulated.H = 0x8000
		i2ctest.Refuses(t, i2ctest.Open(t, Driver, i2ctest.With(Driver, emulated)), sensors.NotConverted)
	})
}

// periph asks for the status without pause or end.
func TestAStuckStatusBitIsNotWaitedForWithoutEnd(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewBME280()
		b := i2ctest.With(Driver, emulated)
		dev, _ := alone(t, b)
		c := i2ctest.Open(t, Driver, b)
		emulated.StuckBusy = true
		const many = 100_000
		n := 0
		b.Fault = func(uint16, []byte, []byte) error {
			if n++; n > many {
				return i2ctest.ErrNack // else it would never return
			}
			return nil
		}
		if err := dev.Sense(&physic.Env{}); err == nil || n <= many {
			t.Errorf("periph alone: %v after %d transactions; it used to go on", err, n)
		}
		n = 0
		i2ctest.Refuses(t, c, sensors.TimedOut)
		if n > 1+attempts {
			t.Errorf("%d transactions, want at most %d", n, 1+attempts)
		}
		emulated.StuckBusy = false
		i2ctest.Reads(t, c, 22.93, 64686.0/1024)
	})
}

// periph takes what the chip measured last time for what it was just told to measure.
func TestAnOldResultIsNone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewBME280()
		b := &i2ctest.Deaf{Bus: i2ctest.With(Driver, emulated)}
		_, sense := alone(t, b)
		c := i2ctest.Open(t, Driver, b)
		for range 10 {
			i2ctest.Reads(t, c, 22.93, 64686.0/1024)
		}
		emulated.Set(10, 50)
		b.Now = true
		if got, _ := sense(); got != 22.93 {
			t.Errorf("periph alone: %v °C; it used to say what was true before", got)
		}
		i2ctest.Refuses(t, c, sensors.NotConverted)
		i2ctest.Refuses(t, i2ctest.Open(t, Driver, b), sensors.NotConverted)
	})
}

func TestABlankCalibrationIsRefused(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewBME280()
		emulated.Calibration = [256]byte{}
		b := i2ctest.With(Driver, emulated)
		_, sense := alone(t, b)
		if c, h := sense(); c != 0 || h != 0 {
			t.Errorf("periph alone: %v °C, %v %%; it used to say 0 and 0", c, h)
		}
		i2ctest.NotOpened(t, Driver, b, sensors.NotConverted)
	})
}

func TestNoiseInTheCalibrationIsRefused(t *testing.T) {
	b := i2ctest.With(Driver, i2ctest.NewBME280())
	n := 0
	noisy := noise{b, func(r []byte) {
		if n++; n == 2 {
			r[3] ^= 0x10
		}
	}}
	i2ctest.NotOpened(t, Driver, noisy, sensors.BadChecksum)
}

// noise spoils what is read.
type noise struct {
	*i2ctest.Bus
	spoil func(r []byte)
}

func (b noise) Tx(addr uint16, w, r []byte) error {
	err := b.Bus.Tx(addr, w, r)
	b.spoil(r)
	return err
}

// A BMP280 is sold under the other's name: periph takes it, and its humidity is 0.
func TestAnotherChipIsNotRead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewBME280()
		emulated.ID = 0x58
		b := i2ctest.With(Driver, emulated)
		_, sense := alone(t, b)
		if _, h := sense(); h != 0 {
			t.Errorf("periph alone: %v %%; it used to say 0", h)
		}
		for _, id := range []byte{0x58, 0x61, 0x00, 0xff} {
			emulated.ID = id
			i2ctest.NotOpened(t, Driver, b, sensors.WrongProbe)
		}
	})
}

func TestTrouble(t *testing.T) {
	i2ctest.Sweep(t, Driver, chip.Options{}, func() i2ctest.Chip { return i2ctest.NewBME280() }, 22.93, 64686.0/1024)
}
