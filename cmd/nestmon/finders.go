package main

import (
	"nestmon/sensors"
	"nestmon/sensors/i2c"
	"nestmon/sensors/kernel"
	"nestmon/sensors/onewire"
	"nestmon/sensors/w1"
)

// finderKind is a kind of source whose buses can be searched.
type finderKind struct {
	source string
	open   func(root string, c *config) sensors.Finder // c may be nil
	// identity is the sensors.Found.Identity of what the probe is bound to.
	identity func(root string, p probeConfig) string
	shy      bool // a bus that a running daemon reads is not searched
}

func finderKindOf(source string) (finderKind, bool) {
	for _, k := range finderKinds {
		if k.source == source {
			return k, true
		}
	}
	return finderKind{}, false
}

// finderKinds has one line for each source that can be searched.
var finderKinds = []finderKind{
	{w1.Kind, findW1, func(_ string, p probeConfig) string { return p.ROM }, false},
	{onewire.Kind, findOneWire, func(_ string, p probeConfig) string { return p.ROM }, true},
	{kernel.Kind, findKernel, func(root string, p probeConfig) string { return kernel.Identity(root, p.Device) }, false},
	{i2c.Kind, findI2C, func(_ string, p probeConfig) string { return i2c.Identity(p.i2c()) }, true},
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
