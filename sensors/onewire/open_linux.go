package onewire

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strconv"
	"syscall"
	"time"

	"periph.io/x/conn/v3/onewire"
	"periph.io/x/host/v3/netlink"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
)

// answerLimit is how long the kernel's answer to one part of a message is waited for. The kernel may be in a conversion of its own (787
// ms were measured) or in a search when the message comes. Ours, no source.
const answerLimit = 2 * time.Second

// openNetlink opens a socket to the kernel's 1-Wire, whose driver would wait for a lost answer for ever, with its lock held, so that not
// even Close came back.
func openNetlink(master uint32) (onewire.BusCloser, error) {
	b, err := netlink.New(master)
	if err != nil {
		return nil, fmt.Errorf("%w; load the kernel's module wire", err)
	}
	if err := limitAnswers(answerLimit); err != nil {
		return nil, errors.Join(err, b.Close())
	}
	return b, nil
}

// limitAnswers bounds receiving on every socket of this process to the kernel's connector: the driver does not tell which is its own.
// Nothing else here has any.
func limitAnswers(limit time.Duration) error {
	entries, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		return fmt.Errorf("looking for the netlink socket, to limit its waits: %w", err)
	}
	bounded := false
	for _, e := range entries {
		fd, err := strconv.Atoi(e.Name())
		if err != nil {
			continue
		}
		protocol, err := syscall.GetsockoptInt(fd, syscall.SOL_SOCKET, syscall.SO_PROTOCOL)
		if err != nil || protocol != syscall.NETLINK_CONNECTOR {
			continue
		}
		if name, err := syscall.Getsockname(fd); err != nil || !isNetlink(name) {
			continue
		}
		t := syscall.NsecToTimeval(limit.Nanoseconds())
		if err := syscall.SetsockoptTimeval(fd, syscall.SOL_SOCKET, syscall.SO_RCVTIMEO, &t); err != nil {
			return fmt.Errorf("limiting the waits of the netlink socket: %w", err)
		}
		bounded = true
	}
	if !bounded {
		return errors.New("the netlink socket was not found among this process's files, and its waits could have no limit")
	}
	return nil
}

func isNetlink(a syscall.Sockaddr) bool { _, is := a.(*syscall.SockaddrNetlink); return is }

// lockLimit is how long another program may keep the bridge: a burst of a full bus takes about a second. Ours, no source.
const (
	lockLimit = 3 * time.Second
	lockRetry = 20 * time.Millisecond
	ofdSetLk  = 37 // F_OFD_SETLK of Linux's fcntl.h
)

// lock keeps other programs that lock, and other sources of this one, from the bridge. The lock is one byte of the device, at the
// bridge's address: bridges on one I2C bus do not wait for each other.
func lock(device string, address uint16, limit time.Duration) (unlock func() error, err error) {
	f, err := os.OpenFile(device, os.O_RDWR, 0)
	switch {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, fs.ErrPermission):
		return nil, fmt.Errorf("%w; %s", err, enableI2C)
	case err != nil:
		return nil, err
	}
	want := syscall.Flock_t{Type: syscall.F_WRLCK, Start: int64(address), Len: 1}
	for waited := time.Duration(0); ; waited += lockRetry {
		err := syscall.FcntlFlock(f.Fd(), ofdSetLk, &want)
		switch {
		case err == nil:
			return f.Close, nil
		case !errors.Is(err, syscall.EAGAIN) && !errors.Is(err, syscall.EACCES):
			return nil, errors.Join(fmt.Errorf("locking %s: %w", device, err), f.Close())
		case waited >= limit:
			busy := ds18b20.Faultf(sensors.BusDown, "another program has kept the bridge at 0x%02x of %s for %v; end it", address, device, limit)
			return nil, errors.Join(busy, f.Close())
		}
		time.Sleep(lockRetry)
	}
}
