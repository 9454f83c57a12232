package main

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"

	"periph.io/x/conn/v3/onewire"
)

func (b *barn) slave(i int) string {
	return filepath.Join(b.dir, "sys/bus/w1/devices", rom(i), "w1_slave")
}

// wire makes the kernel's files of a 1-Wire bus with every probe on it.
func (b *barn) wire() error {
	master := filepath.Join(b.dir, "sys/bus/w1/devices/w1_bus_master1/w1_master_slave_count")
	if err := os.MkdirAll(filepath.Dir(master), 0o755); err != nil {
		return err
	}
	if err := os.WriteFile(master, fmt.Appendln(nil, len(b.probes())), 0o600); err != nil {
		return err
	}
	for i := range b.probes() {
		if err := errors.Join(os.MkdirAll(filepath.Dir(b.slave(i)), 0o755), b.warm(i, b.degrees(i, b.began))); err != nil {
			return err
		}
	}
	return nil
}

// warm writes the kernel's file of a DS18B20 at c °C: its scratchpad and the CRC of that.
func (b *barn) warm(i int, c float64) error {
	raw := int16(math.Round(c * 16))
	pad := []byte{byte(raw), byte(uint16(raw) >> 8), 0x4b, 0x46, 0x7f, 0xff, 0x0c, 0x10}
	crc := onewire.CalcCRC(pad)
	text := fmt.Sprintf("% x %02x : crc=%02x YES\n% x %02x t=%d\n", pad, crc, crc, pad, crc, int(raw)*1000/16)
	beside := b.slave(i) + ".new" // the daemon reads meanwhile
	if err := os.WriteFile(beside, []byte(text), 0o600); err != nil {
		return err
	}
	return os.Rename(beside, b.slave(i))
}
