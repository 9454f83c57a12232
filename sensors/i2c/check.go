package i2c

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

const (
	devices = "sys/bus/i2c/devices"
	enable  = "switch I2C on (on a Raspberry Pi: dtparam=i2c_arm=on in config.txt, then restart the board) and load the module i2c-dev"
	admit   = "let its user into the group that may use it: sudo usermod -aG i2c nestmon; its service needs DeviceAllow=char-i2c rw too; then restart the daemon"
)

// Check says what a person should put right before the probes can be read. It asks no chip anything: the daemon may be asking them now.
func (s *Source) Check() []string {
	var findings []string
	for _, l := range s.lines {
		if !registered(l.name) {
			findings = append(findings, s.checkBus(l.name)...)
		}
	}
	for _, c := range s.configs {
		if driver := s.driven(c.Bus, c.Mux); c.Mux != 0 && driver != "" {
			findings = append(findings, fmt.Sprintf("probe %s: the kernel's %s switches the multiplexer %s of %s; %s", c.ID, driver, hex(c.Mux), c.Bus, s.instead(c)))
			continue
		}
		if driver := s.driven(c.Bus, c.Address); c.Mux == 0 && driver != "" {
			findings = append(findings, fmt.Sprintf("probe %s: the kernel's %s has the chip at %s; two that use it spoil each other's readings: write source: kernel and device: /%s, or take the driver off it",
				c.ID, driver, c.Place(), filepath.Join(devices, device(c.Bus, c.Address))))
		}
	}
	return findings
}

func (s *Source) checkBus(name string) []string {
	path := filepath.Join(s.root, "dev", name)
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	switch {
	case err == nil:
		f.Close() //nolint:errcheck // nothing was written
		return nil
	case errors.Is(err, fs.ErrPermission):
		return []string{fmt.Sprintf("bus %s: %s may not be used; %s", name, path, admit)}
	case !errors.Is(err, fs.ErrNotExist):
		return []string{fmt.Sprintf("bus %s: %v", name, err)}
	}
	there, _ := filepath.Glob(filepath.Join(s.root, "dev", "i2c-*")) // the pattern is right
	if len(there) == 0 {
		return []string{fmt.Sprintf("bus %s: %s is not there, and no other bus is; %s", name, path, enable)}
	}
	for i, t := range there {
		there[i] = filepath.Base(t)
	}
	return []string{fmt.Sprintf("bus %s: %s is not there; there are %s", name, path, strings.Join(there, ", "))}
}

// device is the kernel's name of an address: 1-0044 for 0x44 on i2c-1.
func device(bus string, address uint16) string {
	return fmt.Sprintf("%s-%04x", strings.TrimPrefix(bus, "i2c-"), address)
}

// driven names the kernel's driver of an address, or nothing.
func (s *Source) driven(bus string, address uint16) string {
	at, err := os.Readlink(filepath.Join(s.root, devices, device(bus, address), "driver"))
	if err != nil {
		return ""
	}
	return "driver " + filepath.Base(at)
}

// instead says what to write where the kernel switches the multiplexer.
func (s *Source) instead(c ProbeConfig) string {
	channel := fmt.Sprintf("channel-%d", *c.Channel)
	at, err := os.Readlink(filepath.Join(s.root, devices, device(c.Bus, c.Mux), channel))
	if err != nil {
		return "write the bus of its channel in place of mux and channel: ls -l /" + filepath.Join(devices, device(c.Bus, c.Mux), "channel-*")
	}
	return fmt.Sprintf("write bus: %s in place of mux and channel", filepath.Base(at))
}
