package i2c

import (
	"nestmon/sensors"
	"nestmon/sensors/i2c/aht20"
	"nestmon/sensors/i2c/bme280"
	"nestmon/sensors/i2c/chip"
	"nestmon/sensors/i2c/hdc302x"
	"nestmon/sensors/i2c/ina219"
	"nestmon/sensors/i2c/mcp9808"
	"nestmon/sensors/i2c/scd4x"
	"nestmon/sensors/i2c/sht4x"
	"nestmon/sensors/i2c/tmp102"
)

// drivers has one line for each chip's folder.
var drivers = []chip.Driver{
	aht20.Driver,
	bme280.Driver,
	hdc302x.Driver,
	ina219.Driver,
	mcp9808.Driver,
	scd4x.Driver,
	sht4x.Driver,
	tmp102.Driver,
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
