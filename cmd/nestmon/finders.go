package main

import (
	"nestmon/sensors"
	"nestmon/sensors/i2c"
	"nestmon/sensors/kernel"
	"nestmon/sensors/onewire"
	"nestmon/sensors/w1"
)

// finder is how the buses of a kind of source are searched; the zero value is for a kind that cannot be.
type finder struct {
	open func(root string, c *config) sensors.Finder // c may be nil
	// identity is the sensors.Found.Identity of what the probe is bound to.
	identity func(root string, p probeConfig) string
	shy      bool // a bus that a running daemon reads is not searched
}

func findW1(root string, _ *config) sensors.Finder      { return w1.Buses(root) }
func findOneWire(root string, _ *config) sensors.Finder { return onewire.Buses(root) }
func findKernel(root string, _ *config) sensors.Finder  { return kernel.Buses(root) }

func findI2C(root string, c *config) sensors.Finder {
	b := i2c.Buses{Root: root}
	if c == nil {
		return b
	}
	for _, p := range c.Probes {
		if p.Source == i2c.Kind {
			b.Probes = append(b.Probes, p.i2c())
		}
	}
	return b
}

func romOf(_ string, p probeConfig) string       { return p.ROM }
func deviceOf(root string, p probeConfig) string { return kernel.Identity(root, p.Device) }
func chipOf(_ string, p probeConfig) string      { return i2c.Identity(p.i2c()) }
