// Package line is what the test on this machine and the guest on an emulated board say to each other, over a serial line of the board
// that is not its console: remote calls of package net/rpc. Both sides import it.
package line

import "time"

// Service is the name the guest's calls are registered under.
const Service = "Guest"

// What the guest writes to its console: that it takes calls, or why it never will.
const (
	Ready  = "=== ready"
	Failed = "=== failed"
)

// Nobody is the user without privileges that programs run as, and its group, which the guest gives /dev/i2c-* to, as Debian gives it to i2c.
const Nobody = 1000

// Environment of the guest's first program, given on the kernel's command line.
const (
	DeviceVariable  = "nestmon_line"    // the serial device the calls come in by
	TimeVariable    = "nestmon_time"    // seconds since 1970 to set the clock to
	AddressVariable = "nestmon_address" // IPv4 address of the only network card, a /24; empty for none
)

// ModulesFile lists the kernel modules to load, in order: a file's name below ModulesFolder, and arguments.
const (
	ModulesFolder = "mods"
	ModulesFile   = "mods/order"
)

// File is a path in the guest and what to write there.
type File struct{ Path, Text string }

// Text is what a file held. Error is empty when reading and writing went well; a failed read is an answer here, not a failed call.
type Text struct {
	Text  string
	Error string
}

// Program is a program of the guest to start, as Nobody.
type Program struct {
	Args    []string
	Timeout time.Duration // of the guest's clock
	Log     string        // file for what a started program writes to standard error; where empty, its end tells
}

// Outcome is what a program did.
type Outcome struct {
	Out, Err string
	Code     int
}

// Signals are sent to every thread of a program.
type Signals struct {
	Pid   int // 0 is the guest's own
	Times int
	Every time.Duration // before the first too
	Read  string        // a file the guest reads meanwhile, "" for none
}

// Registers are bytes or words to put into the registers of an I2C chip by way of SMBus.
type Registers struct {
	Bus     int
	Address uint8
	Values  map[uint8]uint16
	Words   bool // sent low byte first, as SMBus does
}

// Bytes are sent to a chip as they are, in one transaction.
type Bytes struct {
	Bus     int
	Address uint8
	Bytes   []byte
}
