package tmp102

import (
	"fmt"
	"testing"
	"testing/synctest"

	playback "periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/tmp102"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
	"nestmon/sensors/i2c/i2ctest"
)

const address = 0x48

// The bytes on the wire: 12 bit, left-aligned.
func TestDatasheet(t *testing.T) {
	const (
		table2   = "TI TMP102-Q1 JAJSGR1E, table 7-2; SBOS397C, table 5"
		computed = "computed by us"
	)
	for _, row := range []struct {
		count  uint16
		want   float64
		source string
	}{
		{0x7ff, 127.9375, table2},
		{0x640, 100, table2},
		{0x500, 80, table2},
		{0x4b0, 75, table2},
		{0x320, 50, table2},
		{0x190, 25, table2},
		{0x004, 0.25, table2},
		{0x000, 0, table2},
		{0xffc, -0.25, table2},
		{0xe70, -25, table2},
		{0xc90, -55, table2},
		{0x2bc, 43.75, computed},
	} {
		t.Run(fmt.Sprintf("%03x, %s", row.count, row.source), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := &playback.Playback{DontPanic: true, Ops: []playback.IO{
					{Addr: address, W: []byte{1}, R: []byte{0x60, 0xa0}},
					{Addr: address, W: []byte{1}, R: []byte{0x60, 0xa0}},
					{Addr: address, W: []byte{1, 0x60, 0x60}},
					{Addr: address, W: []byte{1}, R: []byte{0x60, 0x60}},
					{Addr: address, W: []byte{0}, R: []byte{0x00, 0x00}}, // dropped
					{Addr: address, W: []byte{0}, R: []byte{byte(row.count >> 4), byte(row.count << 4)}},
					{Addr: address, W: []byte{1}, R: []byte{0x60, 0x60}},
				}}
				i2ctest.Reads(t, i2ctest.Open(t, Driver, b), row.want)
				if err := b.Close(); err != nil {
					t.Error(err)
				}
			})
		})
	}
}

// alone is what periph says of the chip without us.
func alone(t *testing.T, b *i2ctest.Bus) float64 {
	t.Helper()
	dev, err := tmp102.NewI2C(b, address, nil)
	if err != nil {
		t.Fatal(err)
	}
	var env physic.Env
	if err := dev.Sense(&env); err != nil {
		t.Fatal(err)
	}
	return env.Temperature.Celsius()
}

// The register holds zero until the first conversion, after power-on and after each loss of supply.
func TestTheValueBeforeTheFirstConversionIsDropped(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewTMP102(20)
		b := i2ctest.With(Driver, emulated)
		emulated.Reset()
		if got := alone(t, b); got != 0 {
			t.Errorf("periph alone: %v °C; it used to say 0", got)
		}
		emulated.Reset()
		c := i2ctest.Open(t, Driver, b)
		i2ctest.Reads(t, c, 20)
		emulated.Reset()
		i2ctest.Refuses(t, c, sensors.Settling)
		i2ctest.Reads(t, c, 20)
	})
}

// 0 °C is legal in a frozen tote.
func TestZeroIsAValueLikeAnyOther(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := i2ctest.Open(t, Driver, i2ctest.With(Driver, i2ctest.NewTMP102(0)))
		i2ctest.Reads(t, c, 0)
		i2ctest.Reads(t, c, 0)
	})
}

// The kernel's driver sets the extended mode, in which each bit is worth twice as much.
func TestNeverBesideTheKernelsDriver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := i2ctest.With(Driver, i2ctest.NewTMP102(20))
		c := i2ctest.Open(t, Driver, b)
		if err := b.Tx(address, []byte{1, 0x60, 0xb0}, nil); err != nil {
			t.Fatal(err)
		}
		if got := alone(t, b); got != 10 {
			t.Errorf("periph alone: %v °C at 20; it used to say half of it", got)
		}
		i2ctest.Refuses(t, c, sensors.Malformed)
		i2ctest.NotOpened(t, Driver, b, sensors.Malformed)
	})
}

// periph takes a configuration it could not read for zeros; a chip that was shut down keeps its last value.
func TestAChipThatWasShutDownIsStartedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewTMP102(20)
		b := i2ctest.With(Driver, emulated)
		c := i2ctest.Open(t, Driver, b)
		i2ctest.Reads(t, c, 20)
		if err := b.Tx(address, []byte{1, 0x61, 0x60}, nil); err != nil {
			t.Fatal(err)
		}
		emulated.Celsius = 30
		i2ctest.Refuses(t, c, sensors.Settling)
		i2ctest.Reads(t, c, 30)
	})
}

func TestAnotherChipIsNotRead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := i2ctest.With(Driver, i2ctest.NewMCP9808(20)) // its register 1 is zero
		i2ctest.NotOpened(t, Driver, b, sensors.WrongProbe)
	})
}

func TestTrouble(t *testing.T) {
	i2ctest.Sweep(t, Driver, chip.Options{}, func() i2ctest.Chip { return i2ctest.NewTMP102(-12.5) }, -12.5)
}
