package main

import (
	"nestmon/sensors"
	"nestmon/sensors/kernel"
	"nestmon/sensors/onewire"
	"nestmon/sensors/w1"
)

// finderKind is a kind of source whose buses can be searched.
type finderKind struct {
	source string
	open   func(root string) sensors.Finder
	// identity is the sensors.Found.Identity of what the probe is bound to.
	identity func(root string, p probeConfig) string
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
	{w1.Kind, func(root string) sensors.Finder { return w1.Buses(root) }, func(_ string, p probeConfig) string { return p.ROM }},
	{onewire.Kind, func(root string) sensors.Finder { return onewire.Buses(root) }, func(_ string, p probeConfig) string { return p.ROM }},
	{kernel.Kind, func(root string) sensors.Finder { return kernel.Buses(root) }, func(root string, p probeConfig) string { return kernel.Identity(root, p.Device) }},
}
