package w1

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

const enable = "enable 1-Wire (on a Raspberry Pi: dtoverlay=w1-gpio,gpiopin=4 in config.txt, then restart the board)"

// Check says what a person should put right before the probes can be read. It converts nothing.
func (s *Source) Check() []string {
	dir := filepath.Join(s.root, devices)
	entries, err := os.ReadDir(dir)
	if err != nil {
		return []string{fmt.Sprintf("%s cannot be listed; %s", dir, enable)}
	}
	present := make(map[string]bool)
	var masters int
	for _, e := range entries {
		present[e.Name()] = true
		if strings.HasPrefix(e.Name(), "w1_bus_master") {
			masters++
		}
	}
	var findings []string
	if masters == 0 {
		findings = append(findings, fmt.Sprintf("%s holds no bus master; %s", dir, enable))
	}
	var free []string
	var others bool // DS18B20 that are there
	bound := make(map[string]bool)
	for _, c := range s.probes {
		bound[c.ROM] = true
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), "28-") {
			continue
		}
		others = true
		if !bound[e.Name()] {
			free = append(free, e.Name())
		}
	}
	for _, c := range s.probes {
		if present[c.ROM] {
			continue
		}
		hint := "no other DS18B20 is there"
		switch {
		case len(free) > 0:
			hint = "there and bound to nothing: " + strings.Join(free, ", ")
		case others:
			hint = "every other one there is already bound"
		}
		findings = append(findings, fmt.Sprintf("probe %s: %s is not on the bus; check its three wires and the number (%s)", c.ID, c.ROM, hint))
	}
	return findings
}
