//go:build !linux

package onewire

import (
	"errors"
	"time"

	"periph.io/x/conn/v3/onewire"
)

const lockLimit = time.Duration(0)

var errLinux = errors.New("1-Wire buses can be opened on Linux only")

func openNetlink(uint32) (onewire.BusCloser, error) { return nil, errLinux }

func lock(string, uint16, time.Duration) (func() error, error) { return nil, errLinux }
