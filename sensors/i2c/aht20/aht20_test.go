package aht20

import (
	"errors"
	"testing"
	"testing/synctest"
	"time"

	playback "periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/aht20"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
	"nestmon/sensors/i2c/i2ctest"
)

// What the published answer means by the formulas T = 200·S/2^20 - 50 and RH = 100·S/2^20: 28.267 °C and 15.08 %.
const (
	wantC   = 200*float64(0x642e7)/(1<<20) - 50
	wantPct = 100 * float64(0x269a7) / (1 << 20)
)

// answered plays a chip that gives that answer once.
func answered(answer ...byte) *playback.Playback {
	return &playback.Playback{DontPanic: true, Ops: []playback.IO{
		{Addr: address, W: []byte{0x71}, R: []byte{0x1c}},
		{Addr: address, W: []byte{0x71}, R: []byte{0x1c}},
		{Addr: address, W: []byte{0xac, 0x33, 0x00}},
		{Addr: address, W: []byte{0x71}, R: []byte{0x9c}},
		{Addr: address, R: answer},
	}}
}

// The bytes on the wire: elixir-sensors/aht20 wiki and embedded-dht-rs documentation, after the AHT20 datasheet.
func TestDatasheet(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := answered(0x1c, 0x26, 0x9a, 0x76, 0x42, 0xe7, 0x76)
		i2ctest.Reads(t, i2ctest.Open(t, Driver, b), wantC, wantPct)
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
	if d := wantC - 28.267; d > 0.0005 || d < -0.0005 {
		t.Errorf("%v °C, published is 28.267", wantC)
	}
	if d := wantPct - 15; d > 0.5 || d < 0 {
		t.Errorf("%v %%, published is 15", wantPct)
	}
}

func TestAnAnswerThatIsNone(t *testing.T) {
	for _, row := range []struct {
		name   string
		answer []byte
		want   sensors.Fault
	}{
		{"a bit flipped", []byte{0x1c, 0x26, 0x9a, 0x77, 0x42, 0xe7, 0x76}, sensors.BadChecksum},
		{"line held low", make([]byte, 7), sensors.BadChecksum},
		{"line held high", []byte{0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}, sensors.BadChecksum},
		{"zeros with a right checksum", []byte{0x1c, 0, 0, 0, 0, 0, 0x58}, sensors.NotConverted},
	} {
		t.Run(row.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				i2ctest.Refuses(t, i2ctest.Open(t, Driver, answered(row.answer...)), row.want)
			})
		})
	}
}

// alone is periph's driver without us.
func alone(t *testing.T, b *i2ctest.Bus) *aht20.Dev {
	t.Helper()
	dev, err := aht20.NewI2C(b, nil)
	if err != nil {
		t.Fatal(err)
	}
	return dev
}

// periph never loads the calibration again by itself.
func TestALostSupplyIsMendedByTheSecondReading(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewAHT20()
		b := i2ctest.With(Driver, emulated)
		dev := alone(t, b)
		c := i2ctest.Open(t, Driver, b)
		emulated.Reset()
		for range 5 {
			var lost *aht20.NotInitializedError
			if err := dev.Sense(&physic.Env{}); !errors.As(err, &lost) {
				t.Errorf("periph alone: %v; it used to fail for ever", err)
			}
			time.Sleep(time.Minute)
		}
		i2ctest.Refuses(t, c, sensors.NotConverted)
		i2ctest.Reads(t, c, wantC, wantPct)
	})
}

// periph takes what the chip measured last time for what it was just told to measure.
func TestAnOldResultIsNone(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewAHT20()
		b := &i2ctest.Deaf{Bus: i2ctest.With(Driver, emulated)}
		dev, err := aht20.NewI2C(b, nil)
		if err != nil {
			t.Fatal(err)
		}
		c := i2ctest.Open(t, Driver, b)
		i2ctest.Reads(t, c, wantC, wantPct)
		emulated.Set(10, 50)
		b.Now = true
		var env physic.Env
		if err := dev.Sense(&env); err != nil || env.Temperature.Celsius() < 28 {
			t.Errorf("periph alone: %v, %v; it used to say what was true before", env.Temperature, err)
		}
		i2ctest.Refuses(t, c, sensors.NotConverted)
	})
}

func TestACalibrationThatCannotBeLoaded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewAHT20()
		emulated.Unloadable = true
		emulated.Reset()
		b := i2ctest.With(Driver, emulated)
		alone(t, b) // periph takes it
		i2ctest.NotOpened(t, Driver, b, sensors.NotConverted)
	})
}

// periph asked to wait without a limit waits so, and holds its lock meanwhile.
func TestAChipThatStaysBusyIsGivenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewAHT20()
		c := i2ctest.Open(t, Driver, i2ctest.With(Driver, emulated))
		emulated.StuckBusy = true
		began := time.Now()
		i2ctest.Refuses(t, c, sensors.TimedOut)
		if took := time.Since(began); took > time.Second {
			t.Errorf("given up after %v of the bubble's clock", took)
		}
		emulated.StuckBusy = false
		i2ctest.Reads(t, c, wantC, wantPct)
	})
}

func TestTrouble(t *testing.T) {
	i2ctest.Sweep(t, Driver, chip.Options{}, func() i2ctest.Chip { return i2ctest.NewAHT20() }, wantC, wantPct)
}
