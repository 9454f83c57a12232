package w1

import (
	"time"

	"nestmon/sensors"
	"nestmon/sensors/ds18b20"
)

// Kind is what the configuration writes as source.
const Kind = "w1"

// ProbeConfig is one DS18B20.
type ProbeConfig struct {
	sensors.Entry `yaml:",inline"`
	ROM           string `yaml:"rom"`   // as the kernel names the directory: 28- and twelve hexadecimal digits
	Clone         string `yaml:"clone"` // "", or the clone's family, d or e
}

// Validate reports what is wrong with the probe, by key.
func (c ProbeConfig) Validate(report func(path, problem string)) {
	c.Entry.Validate(report)
	ds18b20.Validate(c.ROM, c.Clone, "ls /sys/bus/w1/devices", report)
}

func (c ProbeConfig) probe(poll time.Duration) sensors.Probe {
	return c.Probe(poll, ds18b20.Chip(c.Clone), sensors.Temperature)
}
