package scd4x

import (
	"testing"
	"testing/synctest"
	"time"

	playback "periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/scd4x"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
	"nestmon/sensors/i2c/i2ctest"
)

const address = 0x62

// What the words of the datasheet's example mean by T = -45 + 175·S/65535 and RH = 100·S/65535: 25.00 °C, 37.00 %, and 500 ppm as is.
const (
	wantC   = -45 + 175*float64(0x6667)/65535
	wantPct = 100 * float64(0x5eb9) / 65535
	wantPPM = 500
)

// begin plays a chip that is made ready: nothing in it writes to the EEPROM (3615).
func begin(more ...playback.IO) *playback.Playback {
	return &playback.Playback{DontPanic: true, Ops: append([]playback.IO{
		{Addr: address, W: []byte{0x3f, 0x86}},
		{Addr: address, W: []byte{0x36, 0x82}},
		{Addr: address, R: []byte{0xf8, 0x96, 0x31, 0x9f, 0x07, 0xc2, 0x3b, 0xbe, 0x89}},
		{Addr: address, W: []byte{0x24, 0x16, 0x00, 0x00, 0x81}},
		{Addr: address, W: []byte{0x23, 0x13}},
		{Addr: address, R: []byte{0x00, 0x00, 0x81}},
		{Addr: address, W: []byte{0x21, 0xb1}},
	}, more...)}
}

// The bytes on the wire (Sensirion SCD4x datasheet, the words from memory; their checksums are right, and periph decodes them).
func TestDatasheet(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := begin(
			playback.IO{Addr: address, W: []byte{0xe4, 0xb8}},
			playback.IO{Addr: address, R: []byte{0x80, 0x06, 0x04}},
			playback.IO{Addr: address, W: []byte{0xec, 0x05}},
			playback.IO{Addr: address, R: []byte{0x01, 0xf4, 0x33, 0x66, 0x67, 0xa2, 0x5e, 0xb9, 0x3c}},
		)
		i2ctest.Reads(t, i2ctest.Open(t, Driver, b), wantC, wantPct, wantPPM)
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
	if d := wantC - 25.003; d > 0.0005 || d < -0.0005 {
		t.Errorf("%v °C, the example says 25.003", wantC)
	}
	if d := wantPct - 37; d > 0.005 || d < -0.005 {
		t.Errorf("%v %%, the example says 37.00", wantPct)
	}
}

// SHT3x-DIS datasheet v5, table 20; SCD4x datasheet v1.3, tables 18 and 19; the zero word computed by us.
func TestChecksum(t *testing.T) {
	for word, want := range map[[2]byte]byte{
		{0xbe, 0xef}: 0x92, {0x01, 0xe0}: 0xb4, {0x7f, 0xce}: 0x7b, {0x00, 0x01}: 0xb0, {0x00, 0x00}: 0x81,
	} {
		if got := chip.CRC8(word[:]); got != want {
			t.Errorf("%x: %02x, want %02x", word, got, want)
		}
	}
}

func TestASpoiltWordIsRefused(t *testing.T) {
	for i := range 9 {
		synctest.Test(t, func(t *testing.T) {
			answer := []byte{0x01, 0xf4, 0x33, 0x66, 0x67, 0xa2, 0x5e, 0xb9, 0x3c}
			answer[i] ^= 0x04
			c := i2ctest.Open(t, Driver, begin(
				playback.IO{Addr: address, W: []byte{0xe4, 0xb8}},
				playback.IO{Addr: address, R: []byte{0x80, 0x06, 0x04}},
				playback.IO{Addr: address, W: []byte{0xec, 0x05}},
				playback.IO{Addr: address, R: answer},
			))
			i2ctest.Refuses(t, c, sensors.BadChecksum)
		})
	}
}

func TestSelfCalibrationIsOffAndNothingIsStored(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewSCD4x()
		c := i2ctest.Open(t, Driver, i2ctest.With(Driver, emulated))
		if emulated.SelfCal {
			t.Error("self-calibration is on after the start")
		}
		emulated.Reset()
		for range 5 {
			_, _ = c.Read()
			time.Sleep(30 * time.Second)
		}
		i2ctest.Reads(t, c, wantC, wantPct, wantPPM)
		if emulated.SelfCal || emulated.Persisted > 0 {
			t.Errorf("after a loss of supply: self-calibration %v, stored %d times", emulated.SelfCal, emulated.Persisted)
		}
	})
}

// periph waits six seconds at each call for a chip that does not measure, for ever.
func TestALostSupplyHoldsNobodyUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewSCD4x()
		b := i2ctest.With(Driver, emulated)
		alone, err := scd4x.NewI2C(b, address)
		if err != nil {
			t.Fatal(err)
		}
		emulated.Reset()
		for range 3 {
			began := time.Now()
			if err := alone.Sense(&scd4x.Env{}); err == nil || time.Since(began) < 5*time.Second {
				t.Errorf("periph alone: %v after %v; it used to time out after 6 s", err, time.Since(began))
			}
		}

		c := i2ctest.Open(t, Driver, b)
		i2ctest.Refuses(t, c, sensors.Settling)
		time.Sleep(30 * time.Second)
		i2ctest.Reads(t, c, wantC, wantPct, wantPPM)
		emulated.Reset()
		time.Sleep(30 * time.Second)
		began := time.Now()
		i2ctest.Refuses(t, c, sensors.NotConverted)
		if took := time.Since(began); took > time.Second {
			t.Errorf("a reading took %v of the bubble's clock", took)
		}
		time.Sleep(30 * time.Second)
		i2ctest.Reads(t, c, wantC, wantPct, wantPPM)
	})
}

// A reading that finds no new measurement says so, and leaves the chip alone.
func TestBetweenTwoMeasurements(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := i2ctest.Open(t, Driver, i2ctest.With(Driver, i2ctest.NewSCD4x()))
		time.Sleep(period)
		for range 20 {
			i2ctest.Reads(t, c, wantC, wantPct, wantPPM)
			time.Sleep(period / 4)
			i2ctest.Refuses(t, c, sensors.Settling)
			time.Sleep(period - period/4)
		}
	})
}

// periph's offset is a temperature, not a difference: 4 °C written as such send 7648 on amd64.
func TestTheTemperatureOffsetIsLeftAlone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewSCD4x()
		b := i2ctest.With(Driver, emulated)
		alone, err := scd4x.NewI2C(b, address)
		if err != nil {
			t.Fatal(err)
		}
		if err := alone.Halt(); err != nil {
			t.Fatal(err)
		}
		for _, row := range []struct {
			offset physic.Temperature
			right  bool
		}{{4 * physic.Celsius, false}, {physic.ZeroCelsius + 4*physic.Kelvin, true}} {
			cfg, err := alone.GetConfiguration()
			if err != nil {
				t.Fatal(err)
			}
			cfg.TemperatureOffset = row.offset
			if err := alone.SetConfiguration(cfg); err != nil || (emulated.Offset == 0x05d9) != row.right {
				t.Errorf("periph alone sends %04x for %v (%v)", emulated.Offset, row.offset, err)
			}
		}
		emulated.Reset()
		i2ctest.Open(t, Driver, b)
		if emulated.Offset != 0x05d9 {
			t.Errorf("offset %04x, want the chip's own 05d9", emulated.Offset)
		}
	})
}

func TestTrouble(t *testing.T) {
	i2ctest.Sweep(t, Driver, chip.Options{}, func() i2ctest.Chip { return i2ctest.NewSCD4x() }, wantC, wantPct, wantPPM)
}
