package ina219

import (
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	playback "periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/ina219"

	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
	"nestmon/sensors/i2c/i2ctest"
)

const address = 0x40

// The bytes on the wire: shunt in steps of 10 µV with a sign, bus in steps of 4 mV above three bits of status (TI SBOS448, from memory; the
// first row is periph's own example, TestSense in its ina219_test.go, the others computed by us).
func TestDatasheet(t *testing.T) {
	for _, row := range []struct {
		shunt, bus uint16
		volts, amp float64
	}{
		{0x0022, 0x1f42, 4, 0.0034},
		{0x0000, 0x6462, 12.848, 0},
		{0x03e8, 0x5dc2, 12, 0.1},
		{0xfc18, 0x7082, 14.4, -0.1},
		{0x7cff, 0xcb22, 26, 3.1999},
	} {
		t.Run(fmt.Sprintf("%04x %04x", row.shunt, row.bus), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := &playback.Playback{DontPanic: true, Ops: []playback.IO{
					{Addr: address, W: []byte{5, 0x10, 0x62}},
					{Addr: address, W: []byte{0, 0x1f, 0xff}},
					{Addr: address, W: []byte{0, 0x3f, 0xff}},
					{Addr: address, W: []byte{0}, R: []byte{0x3f, 0xff}},
					{Addr: address, W: []byte{5}, R: []byte{0x10, 0x62}},
					{Addr: address, W: []byte{1}, R: []byte{byte(row.shunt >> 8), byte(row.shunt)}},
					{Addr: address, W: []byte{2}, R: []byte{byte(row.bus >> 8), byte(row.bus)}},
					{Addr: address, W: []byte{4}, R: []byte{0, 0}}, // not looked at
					{Addr: address, W: []byte{3}, R: []byte{0, 0}},
					{Addr: address, W: []byte{0}, R: []byte{0x3f, 0xff}},
					{Addr: address, W: []byte{5}, R: []byte{0x10, 0x62}},
				}}
				i2ctest.Reads(t, i2ctest.Open(t, Driver, b), row.volts, row.amp)
				if err := b.Close(); err != nil {
					t.Error(err)
				}
			})
		})
	}
}

// alone is periph's driver without us.
func alone(t *testing.T, b *i2ctest.Bus) *ina219.Dev {
	t.Helper()
	dev, err := ina219.New(b, &ina219.Opts{Address: address})
	if err != nil {
		t.Fatal(err)
	}
	return dev
}

// The calibration is gone and with it the current; the first voltages are zeros.
func TestALostSupplyIsNoIdleBattery(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewINA219(12.4, 0.015)
		b := i2ctest.With(Driver, emulated)
		dev := alone(t, b)
		c := i2ctest.Open(t, Driver, b)
		i2ctest.Reads(t, c, 12.4, 0.15)
		emulated.Reset()
		if p, err := dev.Sense(); err != nil || p.Current != 0 || p.Voltage != 0 {
			t.Errorf("periph alone: %v, %v; it used to say 0 V and 0 A", p, err)
		}
		i2ctest.Refuses(t, c, sensors.Settling)
		i2ctest.Reads(t, c, 12.4, 0.15)
	})
}

// Long after it the voltages are right again, and periph's current still is not.
func TestTheCurrentIsThatOfTheShunt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		emulated := i2ctest.NewINA219(12.4, 0.015)
		b := i2ctest.With(Driver, emulated)
		dev := alone(t, b)
		if err := b.Tx(address, []byte{5, 0, 0}, nil); err != nil {
			t.Fatal(err)
		}
		i2ctest.Reads(t, i2ctest.Open(t, Driver, b), 12.4, 0.15)
		if err := b.Tx(address, []byte{5, 0, 0}, nil); err != nil {
			t.Fatal(err)
		}
		if p, err := dev.Sense(); err != nil || p.Current != 0 || p.Shunt == 0 {
			t.Errorf("periph alone: %v, %v; it used to say 0 A beside a voltage over the shunt", p, err)
		}
	})
}

// periph's range ends at 16 V.
func TestABatteryOf24V(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := i2ctest.With(Driver, i2ctest.NewINA219(25.2, -0.02))
		dev := alone(t, b)
		time.Sleep(time.Second)
		if p, err := dev.Sense(); err != nil || p.Voltage != 16*physic.Volt {
			t.Errorf("periph alone: %v, %v; it used to say 16 V", p, err)
		}
		c := i2ctest.Open(t, Driver, b)
		i2ctest.Reads(t, c, 25.2, -0.2)
		alone(t, b) // another program sets it back
		i2ctest.Refuses(t, c, sensors.Settling)
		i2ctest.Reads(t, c, 25.2, -0.2)
	})
}

// Each shunt of the usual ones, from that of a small board to 50 A at 75 mV: what the chip computes for itself never overflows, whatever
// flows, because periph would then give no voltage either.
func TestShunts(t *testing.T) {
	for _, ohm := range []float64{0.1, 0.05, 0.01, 0.0015} {
		for _, over := range []float64{-0.31, -0.0001, 0, 0.075, 0.31} {
			t.Run(fmt.Sprintf("%g Ω, %g V", ohm, over), func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					b := i2ctest.With(Driver, i2ctest.NewINA219(14.4, over))
					c, err := Driver.Open(b, address, chip.Options{ShuntOhm: ohm})
					if err != nil {
						t.Fatal(err)
					}
					i2ctest.Reads(t, c, 14.4, over/ohm)
				})
			})
		}
	}
}

func TestMoreThanTheShuntCanShow(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for _, over := range []float64{0.33, -0.33} {
			i2ctest.Refuses(t, i2ctest.Open(t, Driver, i2ctest.With(Driver, i2ctest.NewINA219(12.4, over))), sensors.OutOfRange)
		}
	})
}

func TestAnotherChipIsNotRead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		i2ctest.NotOpened(t, Driver, i2ctest.With(Driver, i2ctest.NewTMP102(20)), sensors.WrongProbe)
	})
	if _, err := Driver.Open(&i2ctest.Bus{}, address, chip.Options{ShuntOhm: -0.1}); err == nil {
		t.Error("a shunt of -0.1 Ω was taken")
	}
}

func TestTrouble(t *testing.T) {
	i2ctest.Sweep(t, Driver, chip.Options{ShuntOhm: 0.1}, func() i2ctest.Chip { return i2ctest.NewINA219(12.4, 0.015) }, 12.4, 0.15)
}
