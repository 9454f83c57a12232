package i2c

import (
	"nestmon/sensors"
	"nestmon/sensors/i2c/chip"
	"nestmon/sensors/i2c/hdc302x"
	"nestmon/sensors/i2c/sht4x"
)

// drivers has one line for each chip's folder.
var drivers = []chip.Driver{
	hdc302x.Driver,
	sht4x.Driver,
}

// driverOf finds the driver of a chip by any of its names.
func driverOf(name string) (chip.Driver, bool) {
	if known, _, ok := sensors.Chip(name); ok {
		name = known
	}
	for _, d := range drivers {
		if d.Name == name {
			return d, true
		}
	}
	return chip.Driver{}, false
}

func driverNames() []string {
	names := make([]string, len(drivers))
	for i, d := range drivers {
		names[i] = d.Name
	}
	return names
}
