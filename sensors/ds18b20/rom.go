package ds18b20

import (
	"fmt"
	"regexp"
	"strconv"

	"periph.io/x/conn/v3/onewire"

	"nestmon/sensors"
)

// Family is the family code of the DS18B20, the lowest byte of its number (DS18B20 datasheet, 64-bit lasered ROM).
const Family = 0x28

var romPattern = regexp.MustCompile(`^([0-9a-f]{2})-([0-9a-f]{12})$`)

// ROM writes a 1-Wire number as the kernel names its folder: the family, and twelve hexadecimal digits without the checksum.
func ROM(a onewire.Address) string { return fmt.Sprintf("%02x-%012x", byte(a), uint64(a)<<8>>16) }

// IsROM reports whether s is a 1-Wire number as the kernel writes it, of whatever family.
func IsROM(s string) bool { return romPattern.MatchString(s) }

// Address is the number with the checksum that a bus wants to hear; ok is false for what Validate refuses.
func Address(rom string) (a onewire.Address, ok bool) {
	match := romPattern.FindStringSubmatch(rom)
	if match == nil || match[1] != "28" {
		return 0, false
	}
	serial, err := strconv.ParseUint(match[2], 16, 48)
	if err != nil {
		return 0, false
	}
	body := serial<<8 | Family
	return onewire.Address(uint64(onewire.CalcCRC(bytesOf(body)[:7]))<<56 | body), true
}

// Genuine reports whether the number's own checksum is right and it is not the empty number of a line held low.
func Genuine(a onewire.Address) bool { return byte(a) != 0 && onewire.CheckCRC(bytesOf(uint64(a))) }

// bytesOf lists a number's bytes in the order of the wire.
func bytesOf(a uint64) []byte {
	b := make([]byte, 8)
	for i := range b {
		b[i] = byte(a >> (8 * i))
	}
	return b
}

// Validate reports what is wrong with a probe's number and clone family, by key; list says how to see the numbers.
func Validate(rom, clone, list string, report func(path, problem string)) {
	match := romPattern.FindStringSubmatch(rom)
	switch {
	case match == nil:
		report("rom", fmt.Sprintf("%q is not a 1-Wire number; write it as the kernel does, 28- and twelve hexadecimal digits in small letters: %s", rom, list))
	case match[1] != "28":
		report("rom", fmt.Sprintf("%q is of family %s; only DS18B20 probes can be read, their numbers begin with 28-", rom, match[1]))
	}
	if _, ok := signatures[clone]; !ok {
		report("clone", fmt.Sprintf("%q is not a clone family; write d or e, or leave it out for a genuine chip", clone))
	}
}

// Chip is the name by which the screen knows a DS18B20 of this clone family.
func Chip(clone string) string {
	if clone == "d" {
		return sensors.ChipDS18B20D
	}
	return sensors.ChipDS18B20
}
