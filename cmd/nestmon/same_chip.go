package main

import (
	"fmt"
	"strings"

	"nestmon/sensors/i2c"
	"nestmon/sensors/kernel"
)

// sameChips says which probes are bound to one chip by different words, which only the machine can tell. Cluster and air that are one chip never
// differ: no chill would ever be seen.
func (c *config) sameChips(root string) (all []string) {
	first := map[string]string{}
	for _, p := range c.Probes {
		chip := chipBehind(root, p)
		if chip == "" {
			continue
		}
		if other, twice := first[chip]; twice {
			all = append(all, fmt.Sprintf("probe %s: %s is the chip that probe %s reads; bind another, or remove one of them", p.ID, chip, other))
			continue
		}
		first[chip] = p.ID
	}
	return all
}

// chipBehind is the chip of a probe as the kernel knows it, "" where one cannot be bound by different words.
func chipBehind(root string, p probeConfig) string {
	switch {
	case p.Source == kernel.Kind:
		return kernel.Identity(root, p.Device)
	case p.Source == i2c.Kind && p.Mux == 0:
		return kernel.Identity(root, fmt.Sprintf("/sys/bus/i2c/devices/%s-%04x", strings.TrimPrefix(p.Bus, "i2c-"), p.Address))
	}
	return ""
}
