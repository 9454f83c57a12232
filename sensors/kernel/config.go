package kernel

import (
	"fmt"
	"path"
	"slices"
	"strings"
	"time"

	"nestmon/sensors"
)

// Kind is what the configuration writes as source.
const Kind = "kernel"

// ProbeConfig is one device the kernel drives.
type ProbeConfig struct {
	sensors.Entry `yaml:",inline"`
	Device        string   `yaml:"device"`     // the driver's name, or a path below /sys
	Chip          string   `yaml:"chip"`       // "" when the driver's name says it, or nothing is known
	Quantities    []string `yaml:"quantities"` // nil: what the chip measures; of an unknown chip, what the device shows at start
}

// Validate reports what is wrong with the probe, by key.
func (c ProbeConfig) Validate(report func(path, problem string)) {
	c.Entry.Validate(report)
	switch {
	case c.Device == "":
		report("device", "is missing; write the driver's name, such as sht4x, or the device's path, such as /sys/bus/i2c/devices/1-0044")
	case c.byPath() && (!strings.HasPrefix(c.Device, "/sys/") || path.Clean(c.Device) != c.Device):
		report("device", fmt.Sprintf("%q is not a device path; write one such as /sys/bus/i2c/devices/1-0044, without .. and without a slash at the end", c.Device))
	case c.byPath() && unstable(c.Device):
		report("device", fmt.Sprintf("%q holds a number that changes with the order of discovery; write the path of the device itself: readlink -f %s/device", c.Device, c.Device))
	}
	switch _, qs, ok := sensors.Chip(c.Chip); {
	case c.Chip != "" && !ok:
		report("chip", fmt.Sprintf("%q is unknown; write one of: %s; or leave it out", c.Chip, strings.Join(sensors.ChipNames(), ", ")))
	case ok && !slices.ContainsFunc(qs, func(q sensors.Quantity) bool { return !unread(q) }):
		report("chip", fmt.Sprintf("%s measures nothing that is read from hwmon or IIO files here; write source: i2c", c.Chip))
	}
	qs, err := sensors.ParseQuantities(c.Quantities)
	switch {
	case err != nil:
		report("quantities", err.Error())
	case slices.ContainsFunc(qs, unread):
		report("quantities", fmt.Sprintf("%s cannot be read from hwmon or IIO files here; write temperature or humidity", qs[slices.IndexFunc(qs, unread)]))
	}
}

func (c ProbeConfig) byPath() bool { return strings.Contains(c.Device, "/") }

// unstable reports whether the path ends in a number given by order of discovery.
func unstable(device string) bool {
	base := path.Base(device)
	return strings.HasPrefix(base, "hwmon") || strings.HasPrefix(base, "iio:device")
}

// probe works out what the device measures: what is written, else what its chip or driver is known for, else what it shows.
func (c ProbeConfig) probe(poll time.Duration, shows func() []sensors.Quantity) sensors.Probe {
	name := c.Chip
	if name == "" && !c.byPath() {
		name = c.Device
	}
	chip, qs, known := sensors.Chip(name)
	if written, err := sensors.ParseQuantities(c.Quantities); err == nil && len(written) > 0 {
		qs = written
	} else if !known {
		qs = shows()
	}
	qs = slices.DeleteFunc(slices.Clone(qs), unread)
	if len(qs) == 0 {
		qs = []sensors.Quantity{sensors.Temperature}
	}
	return c.Probe(poll, chip, qs...)
}

// unread reports whether a quantity is not read from the kernel's files.
func unread(q sensors.Quantity) bool { return q > sensors.Humidity }
