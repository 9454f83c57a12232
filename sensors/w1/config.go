package w1

import (
	"fmt"
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
	Chip          string `yaml:"chip"`  // "", or what it is: nothing else is read here
}

// Validate reports what is wrong with the probe, by key.
func (c ProbeConfig) Validate(report func(path, problem string)) {
	c.Entry.Validate(report)
	ds18b20.Validate(c.ROM, c.Clone, "ls /sys/bus/w1/devices", report)
	if c.Chip != "" && c.Chip != sensors.ChipDS18B20 {
		report("chip", fmt.Sprintf("%q is not read by source w1, which knows the %s only; remove it, write clone: d or e for a clone, or source: kernel for another chip", c.Chip, sensors.ChipDS18B20))
	}
}

func (c ProbeConfig) probe(poll time.Duration) sensors.Probe {
	return c.Probe(poll, ds18b20.Chip(c.Clone), sensors.Temperature)
}
