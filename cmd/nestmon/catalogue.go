package main

import (
	"nestmon/sensors"
)

// sourceKind is one kind of probe a configuration may name.
type sourceKind struct {
	name       string             // as in `source:`
	quantities []sensors.Quantity // what its probes deliver unless said otherwise
	keys       []string           // keys of a probe that only this kind understands
}

// sourceKinds has one line for each folder of sensors that holds a source.
var sourceKinds = []sourceKind{
	{"w1", []sensors.Quantity{sensors.Temperature}, []string{"rom", "clone"}},
	{"kernel", []sensors.Quantity{sensors.Temperature, sensors.Humidity}, []string{"device"}},
	{"recorded", []sensors.Quantity{sensors.Temperature, sensors.Humidity, sensors.CO2}, nil},
	{"simulated", []sensors.Quantity{sensors.Temperature, sensors.Humidity}, nil},
}

func sourceKindOf(name string) (sourceKind, bool) {
	for _, k := range sourceKinds {
		if k.name == name {
			return k, true
		}
	}
	return sourceKind{}, false
}

// sinkKind is one way out: a section of the configuration.
type sinkKind struct {
	name   string                                 // of its folder in exporter
	target func(c *config) (text string, on bool) // where it publishes to, off when its section is absent
}

// sinkKinds has one line for each folder of exporter that holds a sink.
var sinkKinds = []sinkKind{}
