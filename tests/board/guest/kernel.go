package main

import (
	"errors"
	"fmt"
	"net/netip"
	"os"
	"strconv"
	"syscall"
	"unsafe"
)

// Calls and numbers of Linux that the standard library does not name (include/uapi/linux of kernel 6.1).
const (
	setSlaveForce = 0x0706 // I2C_SLAVE_FORCE, i2c-dev.h
	smbus         = 0x0720 // I2C_SMBUS, i2c-dev.h
	smbusWrite    = 0      // i2c.h
	smbusByte     = 2      // I2C_SMBUS_BYTE_DATA
	smbusWord     = 3      // I2C_SMBUS_WORD_DATA
	smbusBlock    = 34     // bytes of the union a transfer may fill
	requestSize   = 40     // bytes of struct ifreq on 64-bit, 32 on 32-bit: the longer one does for both
)

func loadModule(file, args string) error {
	f, err := os.Open(file)
	if err != nil {
		return err
	}
	defer f.Close()
	text, err := syscall.BytePtrFromString(args)
	if err != nil {
		return err
	}
	_, _, errno := syscall.Syscall(finitModule, f.Fd(), uintptr(unsafe.Pointer(text)), 0)
	if errno != 0 && !errors.Is(errno, syscall.EEXIST) {
		return errno
	}
	return nil
}

func unloadModule(name string) error {
	text, err := syscall.BytePtrFromString(name)
	if err != nil {
		return err
	}
	if _, _, errno := syscall.Syscall(syscall.SYS_DELETE_MODULE, uintptr(unsafe.Pointer(text)), syscall.O_NONBLOCK, 0); errno != 0 {
		return fmt.Errorf("unloading %s: %w", name, errno)
	}
	return nil
}

// signalThreads sends a signal to each thread of a program; one that has ended meanwhile needs none.
func signalThreads(pid int, signal syscall.Signal) error {
	threads, err := os.ReadDir(fmt.Sprintf("/proc/%d/task", pid))
	if err != nil {
		return err
	}
	for _, t := range threads {
		tid, err := strconv.Atoi(t.Name())
		if err != nil {
			return err
		}
		if _, _, errno := syscall.Syscall(syscall.SYS_TGKILL, uintptr(pid), uintptr(tid), uintptr(signal)); errno != 0 && errno != syscall.ESRCH {
			return fmt.Errorf("signal to thread %d: %w", tid, errno)
		}
	}
	return nil
}

// openRaw opens a serial device so that every byte passes as it is.
func openRaw(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		return nil, err
	}
	var t syscall.Termios
	if err := ioctl(f, syscall.TCGETS, unsafe.Pointer(&t)); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	t.Iflag, t.Oflag, t.Lflag = 0, 0, 0
	t.Cflag = syscall.CS8 | syscall.CREAD | syscall.CLOCAL | syscall.B115200
	t.Cc[syscall.VMIN], t.Cc[syscall.VTIME] = 1, 0
	if err := ioctl(f, syscall.TCSETS, unsafe.Pointer(&t)); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return f, nil
}

func ioctl(f *os.File, request uintptr, arg unsafe.Pointer) error {
	if _, _, errno := syscall.Syscall(syscall.SYS_IOCTL, f.Fd(), request, uintptr(arg)); errno != 0 {
		return errno
	}
	return nil
}

// openChip opens a bus for the transfers with one chip, also where a driver of the kernel has it.
func openChip(bus int, address uint8) (*os.File, error) {
	f, err := os.OpenFile(fmt.Sprintf("/dev/i2c-%d", bus), os.O_RDWR, 0)
	if err != nil {
		return nil, err
	}
	if _, _, errno := syscall.Syscall(syscall.SYS_IOCTL, f.Fd(), setSlaveForce, uintptr(address)); errno != 0 {
		return nil, fmt.Errorf("address %#02x: %w", address, errors.Join(errno, f.Close()))
	}
	return f, nil
}

// write puts a byte or a word, low byte first, into a register by way of SMBus.
func write(f *os.File, register uint8, value uint16, word bool) error {
	data := [smbusBlock]byte{byte(value), byte(value >> 8)}
	call := struct {
		direction, register uint8
		size                uint32
		data                *byte
	}{smbusWrite, register, smbusByte, &data[0]}
	if word {
		call.size = smbusWord
	}
	return ioctl(f, smbus, unsafe.Pointer(&call))
}

// bringUp gives a network card its address and switches it on, and loopback too.
func bringUp(card, address string) error {
	ip, err := netip.ParseAddr(address)
	if err != nil {
		return err
	}
	socket, err := syscall.Socket(syscall.AF_INET, syscall.SOCK_DGRAM, 0)
	if err != nil {
		return err
	}
	defer syscall.Close(socket) //nolint:errcheck // nothing was written to it
	f := os.NewFile(uintptr(socket), "socket")
	four := ip.As4()
	for _, step := range []struct {
		card    string
		request uintptr
		value   []byte
	}{
		{"lo", syscall.SIOCSIFFLAGS, []byte{syscall.IFF_UP, 0}},
		{card, syscall.SIOCSIFADDR, append([]byte{syscall.AF_INET, 0, 0, 0}, four[:]...)},
		{card, syscall.SIOCSIFNETMASK, []byte{syscall.AF_INET, 0, 0, 0, 255, 255, 255, 0}},
		{card, syscall.SIOCSIFFLAGS, []byte{syscall.IFF_UP, 0}},
	} {
		var request [requestSize]byte
		copy(request[:], step.card)
		copy(request[syscall.IFNAMSIZ:], step.value)
		if err := ioctl(f, step.request, unsafe.Pointer(&request[0])); err != nil {
			return fmt.Errorf("network card %s: %w", step.card, err)
		}
	}
	return nil
}
