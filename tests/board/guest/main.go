// Command guest is the first program of the emulated boards: it mounts what the kernel shows, loads the modules it was given, and then
// does what the test on the other end of a serial line asks for. It decides nothing and checks nothing.
package main

import (
	"errors"
	"fmt"
	"net/rpc"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"nestmon/tests/board/line"
)

// settleTime lets drivers find their devices; the test asks again for what comes later.
const settleTime = 300 * time.Millisecond

func main() {
	if err := serve(); err != nil {
		fmt.Println(line.Failed, err)
	}
	syscall.Sync()
	if err := syscall.Reboot(syscall.LINUX_REBOOT_CMD_POWER_OFF); err != nil {
		fmt.Println("=== power off:", err)
	}
	select {} // the kernel panics when its first program ends
}

func serve() error {
	for _, m := range []struct{ kind, at string }{{"proc", "/proc"}, {"sysfs", "/sys"}, {"devtmpfs", "/dev"}} {
		if err := os.MkdirAll(m.at, 0o755); err != nil {
			return err
		}
		if err := syscall.Mount(m.kind, m.at, m.kind, 0, ""); err != nil && !errors.Is(err, syscall.EBUSY) {
			return fmt.Errorf("mounting %s: %w", m.at, err)
		}
	}
	if seconds, err := strconv.ParseInt(os.Getenv(line.TimeVariable), 10, 64); err == nil {
		tv := syscall.NsecToTimeval(seconds * int64(time.Second))
		if err := syscall.Settimeofday(&tv); err != nil {
			return fmt.Errorf("setting the clock: %w", err)
		}
	}
	if err := loadModules(); err != nil {
		return err
	}
	time.Sleep(settleTime)
	if err := shareBuses(); err != nil {
		return err
	}
	if address := os.Getenv(line.AddressVariable); address != "" {
		if err := bringUp("eth0", address); err != nil {
			return err
		}
	}
	tty, err := openRaw(os.Getenv(line.DeviceVariable))
	if err != nil {
		return err
	}
	g := &Guest{running: make(map[int]*started)}
	server := rpc.NewServer()
	if err := server.RegisterName(line.Service, g); err != nil {
		return err
	}
	fmt.Println(line.Ready)
	server.ServeConn(tty)
	return nil
}

func loadModules() error {
	order, err := os.ReadFile("/" + line.ModulesFile)
	if err != nil {
		return err
	}
	for _, entry := range strings.Split(strings.TrimSpace(string(order)), "\n") {
		name, args, _ := strings.Cut(entry, " ")
		if err := loadModule(filepath.Join("/", line.ModulesFolder, name), args); err != nil {
			return fmt.Errorf("loading %s: %w", name, err)
		}
	}
	return nil
}

// shareBuses does what udev does on Debian.
func shareBuses() error {
	buses, err := filepath.Glob("/dev/i2c-*")
	if err != nil {
		return err
	}
	for _, bus := range buses {
		if err := errors.Join(os.Chown(bus, 0, line.Nobody), os.Chmod(bus, 0o660)); err != nil {
			return err
		}
	}
	return nil
}
