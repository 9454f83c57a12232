package onewire

import (
	"time"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
)

// Kind is what the configuration writes as source.
const Kind = "onewire"

// ProbeConfig is one DS18B20.
type ProbeConfig struct {
	sensors.Entry `yaml:",inline"`
	Bus           string `yaml:"bus"`   // w1-1, i2c-1/0x18 or i2c-1/0x18/3
	ROM           string `yaml:"rom"`   // as the kernel writes it: 28- and twelve hexadecimal digits
	Clone         string `yaml:"clone"` // "", or the clone's family, d or e
}

// Validate reports what is wrong with the probe, by key.
func (c ProbeConfig) Validate(report func(path, problem string)) {
	c.Entry.Validate(report)
	if c.Bus == "" {
		report("bus", "is missing; write "+lineForms)
	} else if _, err := parseLine(c.Bus); err != nil {
		report("bus", err.Error())
	}
	ds18b20.Validate(c.ROM, c.Clone, "nestmon probes lists them", report)
}

func (c ProbeConfig) probe(poll time.Duration) sensors.Probe {
	return c.Probe(poll, ds18b20.Chip(c.Clone), sensors.Temperature)
}
