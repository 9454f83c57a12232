package main

import (
	"log/slog"

	"nestmon/exporter/influx"
	"nestmon/sensors"
	"nestmon/sensors/i2c"
	"nestmon/sensors/kernel"
	"nestmon/sensors/onewire"
	"nestmon/sensors/radio"
	"nestmon/sensors/w1"
	"nestmon/thresholds"
)

// probes lists the probes with everything filled in. No device is looked at: what a probe is expected to deliver does not
// shrink because it is missing today.
func (c *config) probes() []sensors.Probe {
	all := make([]sensors.Probe, len(c.Probes))
	for i, p := range c.Probes {
		all[i] = p.probe(c)
	}
	return all
}

func (p probeConfig) probe(c *config) sensors.Probe {
	kind, _ := sourceKindOf(p.Source)
	if kind.open != nil {
		if s, err := kind.open("", c, kind.name, []probeConfig{p}, slog.New(slog.DiscardHandler)); err == nil {
			return s.Probes()[0]
		}
	}
	chip, quantities, known := sensors.Chip(p.Chip)
	if !known {
		quantities = kind.quantities
	}
	if written, err := sensors.ParseQuantities(p.Quantities); err == nil && len(written) > 0 {
		quantities = written
	}
	return p.Entry.Probe(c.Poll, chip, quantities...)
}

func (p probeConfig) w1() w1.ProbeConfig {
	return w1.ProbeConfig{Entry: p.Entry, ROM: p.ROM, Clone: p.Clone, Chip: p.Chip}
}

func (p probeConfig) oneWire() onewire.ProbeConfig {
	return onewire.ProbeConfig{Entry: p.Entry, Bus: p.Bus, ROM: p.ROM, Clone: p.Clone}
}

func (p probeConfig) kernel() kernel.ProbeConfig {
	out := kernel.ProbeConfig{Entry: p.Entry, Device: p.Device, Chip: p.Chip, Quantities: p.Quantities}
	_, _, byChip := sensors.Chip(p.Chip)
	_, _, byDriver := sensors.Chip(p.Device)
	if len(p.Quantities) == 0 && !byChip && !byDriver {
		out.Quantities = []string{sensors.Temperature.String(), sensors.Humidity.String()}
	}
	return out
}

func (p probeConfig) i2c() i2c.ProbeConfig {
	return i2c.ProbeConfig{Entry: p.Entry, Chip: p.Chip, Bus: p.Bus, Address: p.Address, Mux: p.Mux, Channel: p.Channel, ShuntOhm: p.ShuntOhm}
}

func (p probeConfig) radio() radio.ProbeConfig {
	return radio.ProbeConfig{
		Entry: p.Entry, Topic: p.Topic, Pointers: p.Pointers, Time: p.Time, Unit: p.Unit, Chip: p.Chip, Quantities: p.Quantities,
	}
}

// places says where each probe is. A probe that serves several cages is written down for the first.
func (c *config) places() map[string]influx.Place {
	all := map[string]influx.Place{}
	put := func(id, nest string, role thresholds.Role) {
		if _, taken := all[id]; id != "" && !taken {
			all[id] = influx.Place{Nest: nest, Role: role}
		}
	}
	put(c.Outside, "", thresholds.Outside)
	put(c.Site.Battery, "", thresholds.Battery)
	for _, n := range c.Nests {
		for i, id := range n.Cluster {
			put(id, n.ID, [...]thresholds.Role{thresholds.Cluster, thresholds.Cluster2}[i])
		}
		put(n.Air, n.ID, thresholds.Air)
		put(n.CO2, n.ID, thresholds.CO2)
		put(n.Cage, n.ID, thresholds.Cage)
	}
	return all
}
