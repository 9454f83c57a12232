package onewire_test

import (
	"errors"
	"testing"

	conn "periph.io/x/conn/v3/onewire"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/devices/v3/ds18b20"
	"periph.io/x/devices/v3/ds248x"

	"nestmon/sensors"
	"nestmon/sensors/onewire/onewiretest"
)

// driver is periph's ds248x on the barn's bridge.
func (b *barn) driver(t *testing.T) *ds248x.Dev {
	t.Helper()
	bus, err := b.i2c.Handle()
	if err != nil {
		t.Fatal(err)
	}
	if err := bus.Close(); err != nil { // it goes on all the same, and what is counted as open is the source's
		t.Fatal(err)
	}
	d, err := ds248x.New(bus, 0x18, &ds248x.DefaultOpts)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// What periph's ds18b20 takes for a temperature, and this source does not. The first column of wants is of the driver alone: where it
// changes, the driver was mended.
func TestTrapsOfTheDriverOfTheChip(t *testing.T) {
	for _, row := range []struct {
		name   string
		do     func(c *onewiretest.DS18B20)
		driver float64
		ours   sensors.Fault
	}{
		{"the power-on value", func(c *onewiretest.DS18B20) { c.PowerUp(); c.Deaf = 2 }, 85, sensors.NotConverted},
		{"a failed conversion", func(c *onewiretest.DS18B20) { c.Fails = true }, 127.9375, sensors.NotConverted},
		{"nine zero bytes", func(c *onewiretest.DS18B20) { c.Spoil = func(pad []byte) { clear(pad) } }, 0, sensors.StuckLow},
		{"a clone", func(c *onewiretest.DS18B20) { *c = *onewiretest.New(c.Address, onewiretest.CloneD, 31); c.Deaf = 2 }, 25, sensors.WrongProbe},
	} {
		leaf(t, row.name, func(t *testing.T) {
			b := bridged(t, genuine)
			bus := b.driver(t)
			d, err := ds18b20.New(bus, address(0), 12)
			if err != nil {
				t.Fatal(err)
			}
			row.do(b.chips[0])
			if err := ds18b20.ConvertAll(bus, 12); err != nil {
				t.Fatal(err)
			}
			b.clock.Advance(onewiretest.Slowest)
			got, err := d.LastTemp()
			if want := physic.Temperature(row.driver*float64(physic.Kelvin)) + physic.ZeroCelsius; err != nil || got != want {
				t.Errorf("the driver alone: got %v, %v, want %v", got, err, want)
			}
			b.expect(t, row.ours)
		})
	}
}

func TestTheDriverOfTheChipWearsItsEEPROM(t *testing.T) {
	leaf(t, "at 9 bit", func(t *testing.T) {
		b := bridged(t, genuine)
		b.chips[0].Store(0x1f)
		b.expect(t, 30.0)
		if n := b.chips[0].EEPROMWrites; n != 0 {
			t.Errorf("a read wrote the EEPROM %d times", n)
		}
		b.chips[0].Store(0x1f)
		if _, err := ds18b20.New(b.driver(t), address(0), 12); err != nil || b.chips[0].EEPROMWrites != 1 {
			t.Errorf("the driver alone: %v and %d writes, want one", err, b.chips[0].EEPROMWrites)
		}
	})
}

func TestTrapsOfTheDriverOfTheBridge(t *testing.T) {
	leaf(t, "one error stays", func(t *testing.T) {
		b := bridged(t, genuine)
		d := b.driver(t)
		b.i2c.Fault = func() error { b.i2c.Fault = nil; return errors.New("sysfs-i2c: remote I/O error") }
		for range 3 {
			if err := d.Tx([]byte{0xcc, 0x44}, nil, conn.WeakPullup); err == nil {
				t.Error("the driver alone forgot its error")
			}
		}
		b.i2c.Fault = func() error { b.i2c.Fault = nil; return errors.New("sysfs-i2c: remote I/O error") }
		b.expect(t, 30.0)
	})
	leaf(t, "a short at the start is taken for a missing bridge", func(t *testing.T) {
		b := bridged(t, genuine)
		b.line.Low = true
		bus, err := b.i2c.Handle()
		if err != nil {
			t.Fatal(err)
		}
		if _, err := ds248x.New(bus, 0x18, &ds248x.DefaultOpts); err == nil {
			t.Error("the driver alone began on a line held low")
		}
		bus.Close()
		b.expect(t, sensors.StuckLow)
	})
}
