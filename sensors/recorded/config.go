package recorded

import (
	"fmt"
	"strings"
	"time"

	"nestmon/sensors"
)

// Kind is what the configuration writes as source.
const Kind = "recorded"

// ProbeConfig is a probe that exists only in a readings file; its id is the file's probe column.
type ProbeConfig struct {
	sensors.Entry `yaml:",inline"`
	Chip          string `yaml:"chip"` // "" when it is not known what measured
}

// Validate reports what is wrong with the probe, by key.
func (c ProbeConfig) Validate(report func(path, problem string)) {
	c.Entry.Validate(report)
	if _, _, ok := sensors.Chip(c.Chip); c.Chip != "" && !ok {
		report("chip", fmt.Sprintf("%q is unknown; write one of: %s; or leave it out", c.Chip, strings.Join(sensors.ChipNames(), ", ")))
	}
}

// Probe makes the probe; interval is the spacing of its rows, used where the configuration names none.
func (c ProbeConfig) Probe(interval time.Duration) sensors.Probe {
	chip, _, _ := sensors.Chip(c.Chip)
	return c.Entry.Probe(interval, chip, sensors.Quantities[:]...)
}
