package w1

import (
	"fmt"
	"regexp"
	"time"

	"nestmon/sensors"
)

// Kind is what the configuration writes as source.
const Kind = "w1"

// ProbeConfig is one DS18B20.
type ProbeConfig struct {
	sensors.Entry `yaml:",inline"`
	ROM           string `yaml:"rom"`   // as the kernel names the directory: 28- and twelve hexadecimal digits
	Clone         string `yaml:"clone"` // "", or the clone's family, d or e
}

var romPattern = regexp.MustCompile(`^([0-9a-f]{2})-[0-9a-f]{12}$`)

// Validate reports what is wrong with the probe, by key.
func (c ProbeConfig) Validate(report func(path, problem string)) {
	c.Entry.Validate(report)
	match := romPattern.FindStringSubmatch(c.ROM)
	switch {
	case match == nil:
		report("rom", fmt.Sprintf("%q is not a 1-Wire number; write it as the kernel does, 28- and twelve hexadecimal digits: ls /sys/bus/w1/devices", c.ROM))
	case match[1] != "28":
		report("rom", fmt.Sprintf("%q is of family %s; only DS18B20 probes can be read, their numbers begin with 28-", c.ROM, match[1]))
	}
	if _, ok := signatures[c.Clone]; !ok {
		report("clone", fmt.Sprintf("%q is not a clone family; write d or e, or leave it out for a genuine chip", c.Clone))
	}
}

func (c ProbeConfig) probe(poll time.Duration) sensors.Probe {
	chip := sensors.ChipDS18B20
	if c.Clone == "d" {
		chip = sensors.ChipDS18B20D
	}
	return c.Probe(poll, chip, sensors.Temperature)
}
