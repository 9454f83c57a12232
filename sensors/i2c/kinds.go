package i2c

import (
	"errors"
	"strings"
	"sync/atomic"
	"time"

	"nestmon/sensors"
)

// kind is what failed in a transaction.
type kind uint8

const (
	nack        kind = iota // nobody acknowledged
	timeout                 // the controller gave up: clock or data held low, or, on some controllers, an absent chip
	arbitration             // another master, or a line that does not follow
	input                   // the controller failed in some other way
	switched                // the multiplexer showed another channel than it was set to
	unsupported             // the controller knows only SMBus
	gone                    // the bus is not there, or not ours
	other
	numKinds
)

// kinds tells them apart by the words of the kernel: periph wraps them with %v, so that errors.Is finds nothing. The words are those of
// Linux's errno table as Go prints it; which of them a controller uses is its own affair (measured on an emulated i.MX6: an absent chip is
// "connection timed out").
var kinds = [numKinds]struct {
	name  string
	words []string
	again bool // another try may help
	fault sensors.Fault
}{
	nack:        {"nack", []string{"remote I/O error", "no such device or address"}, true, sensors.NoAnswer},
	timeout:     {"timeout", []string{"connection timed out"}, false, sensors.TimedOut},
	arbitration: {"arbitration", []string{"resource temporarily unavailable", "device or resource busy"}, true, sensors.NoAnswer},
	input:       {"io", []string{"input/output error"}, true, sensors.NoAnswer},
	switched:    {"mux-switched", nil, true, sensors.WrongProbe},
	unsupported: {"unsupported", []string{"operation not supported"}, false, sensors.BusDown},
	gone:        {"bus-gone", []string{"no such device", "bad file descriptor", "file already closed", "no such file"}, false, sensors.BusDown},
	other:       {"other", nil, false, sensors.NoAnswer},
}

// lost is an error of the bus itself, before any transaction.
type lost struct{ error }

func (l *lost) Unwrap() error { return l.error }

// moved is a multiplexer that does not show the channel it was set to.
type moved struct{ error }

// kindOf tells the kind of a transaction's error.
func kindOf(err error) kind {
	var l *lost
	var m *moved
	switch {
	case errors.As(err, &l):
		return gone
	case errors.As(err, &m):
		return switched
	}
	text := err.Error()
	for k := range kinds {
		for _, w := range kinds[k].words {
			if strings.Contains(text, w) {
				return kind(k)
			}
		}
	}
	return other
}

// passing reports whether the failure may be over by now.
func passing(err error) bool { return kinds[kindOf(err)].again }

// counts is what a bus has done. It is read by other goroutines.
type counts struct {
	transactions atomic.Uint64
	busy         atomic.Int64 // ns
	errors       [numKinds]atomic.Uint64
}

func (c *counts) note(err error, took time.Duration) {
	c.transactions.Add(1)
	c.busy.Add(int64(took))
	if err != nil {
		c.errors[kindOf(err)].Add(1)
	}
}
