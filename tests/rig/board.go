package rig

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"syscall"

	"periph.io/x/conn/v3/onewire"
)

// Board is a folder that looks like a board's /: DS18B20 on the kernel's 1-Wire bus, and SHT4x under its hwmon driver.
type Board struct{ Root string }

// ROM is the n-th DS18B20 as the configuration writes it.
func ROM(n int) string { return fmt.Sprintf("28-%012x", 0x0316a2790000+n) }

// Device is the n-th SHT4x as the configuration writes it.
func Device(n int) string { return fmt.Sprintf("/sys/bus/i2c/devices/1-%04x", 0x44+n) }

func (b Board) slave(n int) string {
	return filepath.Join(b.Root, "sys/bus/w1/devices", ROM(n), "w1_slave")
}

// Warm lets a DS18B20 read so many °C, to its 1/16.
func (b Board) Warm(n int, c float64) error {
	raw := int(math.Round(c * 16))
	pad := []byte{byte(raw), byte(raw >> 8), 0x4b, 0x46, 0x7f, 0xff, byte(16 - raw&15), 0x10} // as its datasheet's memory map has them at 12 bits
	crc := onewire.CalcCRC(pad)
	return put(b.slave(n), fmt.Sprintf("% x %02x : crc=%02x YES\n% x %02x t=%d\n", pad, crc, crc, pad, crc, raw*1000/16))
}

// Air lets an SHT4x read so many °C and % of humidity.
func (b Board) Air(n int, c, humidity float64) error {
	dir := filepath.Join(b.Root, Device(n), "hwmon/hwmon0")
	return errors.Join(put(filepath.Join(dir, "name"), "sht4x\n"), put(filepath.Join(dir, "temp1_input"), fmt.Sprintf("%.0f\n", 1000*c)),
		put(filepath.Join(dir, "humidity1_input"), fmt.Sprintf("%.0f\n", 1000*humidity)))
}

// Lose takes a DS18B20 off its wire.
func (b Board) Lose(n int) error { return os.RemoveAll(b.slave(n)) }

// LoseAir lets an SHT4x fail: its driver answers nothing.
func (b Board) LoseAir(n int) error {
	dir := filepath.Join(b.Root, Device(n), "hwmon/hwmon0")
	return errors.Join(os.RemoveAll(filepath.Join(dir, "temp1_input")), os.RemoveAll(filepath.Join(dir, "humidity1_input")))
}

// Hang makes the read of a DS18B20 wait for ever, and with it its wire.
func (b Board) Hang(n int) error { return errors.Join(b.Lose(n), syscall.Mkfifo(b.slave(n), 0o600)) }

// Release lets such a read end, with an empty answer.
func (b Board) Release(n int) error {
	f, err := os.OpenFile(b.slave(n), os.O_WRONLY|syscall.O_NONBLOCK, 0)
	if err == nil {
		err = f.Close()
	} else if errors.Is(err, syscall.ENXIO) {
		err = nil // nobody waits
	}
	return errors.Join(err, b.Lose(n))
}

// put replaces a file whole: a driver's file changes at once.
func put(path, text string) error {
	beside := path + ".new"
	if err := os.WriteFile(beside, []byte(text), 0o600); err != nil {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(beside, []byte(text), 0o600); err != nil {
			return err
		}
	}
	return os.Rename(beside, path)
}
